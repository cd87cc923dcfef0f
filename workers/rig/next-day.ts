import { signalToNoise, totalExposureS, whatBuysMost, type Target } from './sub-exposure.ts';

/** What came of a night: how many subs were taken and are worth keeping, and how much light each group holds. */
export interface Night {
  taken: number;
  kept: number;
  takenS: number;
  keptS: number;
}

export interface NextDay {
  /** Signal over noise of one pixel in the subs worth keeping. */
  snr: number;
  /** Exposure in all for the wished signal-to-noise, and what is still missing of it; 0 when it is reached. */
  neededS: number;
  missingS: number;
  /** What each single change does to what is still missing: 0.5 = half of it will do. Best first. */
  changes: { change: string; factor: number }[];
}

/**
 * Where a night's subs stand on the way to a signal-to-noise, and what would shorten the rest. A sub that is not worth
 * keeping costs its time, so the rest takes takenS/keptS times as long; losing none saves that factor. The other changes
 * act on the time by the CCD equation (Newberry 1991), and hold for the light that is still missing.
 */
export function nextDay(target: Target, snr: number, night: Night): NextDay {
  const neededS = totalExposureS(target, snr);
  const missingS = Math.max(0, neededS - night.keptS);
  const losingNone = { change: 'losing no sub', factor: night.takenS > 0 ? night.keptS / night.takenS : 1 };
  return {
    snr: night.keptS > 0 ? signalToNoise(target, night.keptS) : 0,
    neededS,
    missingS,
    changes: [...whatBuysMost(target), losingNone].sort((a, b) => a.factor - b.factor),
  };
}
