/**
 * Exposure of one sub at which the noise exceeds that of the sky alone by the part `excess` (0.05 = 5 %):
 * sqrt(Bt + R²) = (1 + excess) sqrt(Bt), so t = R² / (B [(1+excess)² - 1]). B electrons per second and pixel, R read
 * noise in electrons. From the noise equation of a CCD (Newberry 1991, PASP 103, 122). "Ten times the read noise
 * squared" is about 5 %.
 */
export const swampingExposureS = (readNoise: number, skyPerS: number, excess: number): number =>
  readNoise ** 2 / (skyPerS * ((1 + excess) ** 2 - 1));

/** Noise of n subs over the noise of one exposure as long as all of them. */
export const stackPenalty = (readNoise: number, skyPerS: number, subS: number, subs: number): number =>
  Math.sqrt((skyPerS * subS * subs + subs * readNoise ** 2) / (skyPerS * subS * subs + readNoise ** 2));

/**
 * Sky's rate from the noise that a frame shows, electrons per second and pixel: the variance in electrons less the
 * read noise's, over the exposure. Needs no offset. Null when read noise explains all of it.
 */
export function skyRateFromNoise(
  noiseAdu: number,
  gainElectronsPerAdu: number,
  readNoise: number,
  exposureS: number,
): number | null {
  const sky = (noiseAdu * gainElectronsPerAdu) ** 2 - readNoise ** 2;
  return sky > 0 && exposureS > 0 ? sky / exposureS : null;
}

export interface Target {
  /** Electrons per second and pixel of the object and of the sky (with dark current). */
  objectPerS: number;
  skyPerS: number;
  readNoise: number;
  subS: number;
}

/** Signal-to-noise of one pixel after `totalS` in subs: S T / sqrt(S T + B T + R² T/t) (the CCD equation). */
export const signalToNoise = ({ objectPerS, skyPerS, readNoise, subS }: Target, totalS: number): number =>
  (objectPerS * totalS) / Math.sqrt(totalS * (objectPerS + skyPerS + readNoise ** 2 / subS));

/** Total exposure for a signal-to-noise per pixel: SNR² (S + B + R²/t) / S². */
export const totalExposureS = ({ objectPerS, skyPerS, readNoise, subS }: Target, snr: number): number =>
  (snr ** 2 * (objectPerS + skyPerS + readNoise ** 2 / subS)) / objectPerS ** 2;

/** What a change of one thing does to the total exposure: 0.5 = half of it will do. Best first. */
export function whatBuysMost(target: Target): { change: string; factor: number }[] {
  const now = totalExposureS(target, 1);
  const with_ = (change: string, other: Partial<Target>) => ({
    change,
    factor: totalExposureS({ ...target, ...other }, 1) / now,
  });
  return [
    with_('a sky one magnitude darker', { skyPerS: target.skyPerS / 10 ** 0.4 }),
    with_('subs twice as long', { subS: 2 * target.subS }),
    with_('half the read noise', { readNoise: target.readNoise / 2 }),
    with_('a focal ratio one stop faster', {
      objectPerS: 2 * target.objectPerS,
      skyPerS: 2 * target.skyPerS,
    }),
  ].sort((a, b) => a.factor - b.factor);
}
