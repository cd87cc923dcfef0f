import { defineStore } from 'pinia';
import { reactive } from 'vue';

/** What is asked of a rig tonight. Starting values are common practice, no source; nothing of it is kept. */
export interface Plan {
  /** Comet tails up to this length pass as round. */
  comaLimitPx: number;
  /** A star may widen by this much before it counts as out of focus. */
  widerPercent: number;
  otherRatio: number;
  otherExposureS: number;
  altitudeDeg: number;
  declinationDeg: number;
  trailLimitPx: number;
  /** Noise above that of the sky alone. */
  excessPercent: number;
  /** Length of one sub for the total; null = where the sky swamps the read noise. */
  subS: number | null;
  objectMagPerArcsec2: number;
  snr: number;
  barlow: number;
}

export const useRigPlan = defineStore('rig-plan', () =>
  reactive<Plan>({
    comaLimitPx: 3,
    widerPercent: 10,
    otherRatio: 5,
    otherExposureS: 100,
    altitudeDeg: 45,
    declinationDeg: 0,
    trailLimitPx: 2,
    excessPercent: 5,
    subS: null,
    objectMagPerArcsec2: 22,
    snr: 5,
    barlow: 2,
  }),
);
