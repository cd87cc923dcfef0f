import { defineStore } from 'pinia';
import { computed, ref, watch } from 'vue';
import { arcsecPerPx } from '../../workers/protocol/rig.ts';
import { availableUnits, type LengthUnit, type PixelScale } from '../format/quantity.ts';
import { settings } from '../keep/settings.ts';
import { useRigs } from '../rig/rigs.ts';
import { useAnalysis } from './analysis.ts';

export type Light = 'dark' | 'paper' | 'red';

interface Kept {
  light: Light;
  unit: LengthUnit;
  introRead: boolean;
  pixelSizeUm: number | null;
  focalLengthMm: number | null;
}

/** How this person likes the page, and what they told about the telescope where the file is silent. */
export const usePreferences = defineStore('preferences', () => {
  const kept = { ...FRESH, ...settings.get<Partial<Kept>>('preferences') };
  const light = ref<Light>(kept.light);
  const wantedUnit = ref<LengthUnit>(kept.unit);
  const introRead = ref(kept.introRead);
  const pixelSizeUm = ref<number | null>(kept.pixelSizeUm);
  const focalLengthMm = ref<number | null>(kept.focalLengthMm);

  const analysis = useAnalysis();
  const rigs = useRigs();
  /** Of the file itself: the report of a run may hold what was told when it ran. */
  const facts = computed(() => analysis.current?.measured.meta ?? null);
  /** What is told here wins over the file, as in every other way of running the measurement. */
  const scale = computed<PixelScale>(() => {
    const told = {
      pixelSizeUm: pixelSizeUm.value ?? rigs.told.pixelSizeUm ?? facts.value?.pixelSizeUm ?? null,
      focalLengthMm: focalLengthMm.value ?? rigs.told.focalLengthMm ?? facts.value?.focalLengthMm ?? null,
    };
    return { umPerPx: told.pixelSizeUm, arcsecPerPx: arcsecPerPx(told) };
  });
  const units = computed(() => availableUnits(scale.value));
  /** The wanted unit where the scale is known, pixels otherwise. */
  const unit = computed<LengthUnit>(() => (units.value.includes(wantedUnit.value) ? wantedUnit.value : 'px'));

  watch(
    [pixelSizeUm, focalLengthMm, () => rigs.told],
    () =>
      analysis.tellRig({
        ...rigs.told,
        ...(pixelSizeUm.value ? { pixelSizeUm: pixelSizeUm.value } : {}),
        ...(focalLengthMm.value ? { focalLengthMm: focalLengthMm.value } : {}),
      }),
    { immediate: true },
  );
  watch([light, wantedUnit, introRead, pixelSizeUm, focalLengthMm], () =>
    settings.set('preferences', {
      light: light.value,
      unit: wantedUnit.value,
      introRead: introRead.value,
      pixelSizeUm: pixelSizeUm.value,
      focalLengthMm: focalLengthMm.value,
    } satisfies Kept),
  );

  return { light, wantedUnit, unit, units, scale, introRead, pixelSizeUm, focalLengthMm };
});

const FRESH: Kept = { light: 'dark', unit: 'px', introRead: false, pixelSizeUm: null, focalLengthMm: null };
