import {
  airmass,
  dispersionArcsec,
  refractionArcsec,
  refractionDriftArcsecPerS,
} from '../../../workers/rig/air.ts';
import { GREEN_UM, scaleArcsecPerPx, seeingAt } from '../../../workers/rig/image-scale.ts';
import { saturatingMagnitude } from '../../../workers/rig/photons.ts';
import type { LongestExposure } from '../../../workers/protocol/series.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import {
  swampingExposureS,
  totalExposureS,
  whatBuysMost,
  type Target,
} from '../../../workers/rig/sub-exposure.ts';
import type { Plan } from '../plan.ts';
import { centredFwhmPx } from './field.ts';
import { collectorOf, limits, skyFromSheet, windowSentence } from './limits.ts';
import { duration, tell, told, type Told } from './told.ts';

export const subExposure = (
  sheet: RigSheet,
  plan: Plan,
  measured: number | null,
  measuredWhy: string,
  run: LongestExposure | null = null,
): Told => {
  const found = limits(sheet, plan, measured, run);
  const says = windowSentence(found);
  if (measuredWhy) says.push(measuredWhy);
  return {
    id: 'sub-exposure',
    title: 'How long one sub may be',
    says,
    missing: found.length ? [] : ['read noise with the sky’s brightness, or the mount’s errors'],
    formula:
      'read noise: t = R²/(B[(1+p)²−1])\nworm: 2A sin(πT/P); polar axis: ωE; all together ≤ limit\nstar at rest: ω cos δ; altazimuth: ω cos φ cos Az / cos alt',
    source:
      'CCD equation (Newberry 1991); rates of trailing derived from the sky’s turn, 15.041″/s; the worst start and the worst place are taken. Light of stars and sky: 1000 photons/s/cm²/Å at V = 0 (Bessell 1979, from memory), good to some 20 % over broad bands; a mosaic’s pixel is given a third.',
  };
};

/** Sub length that the plan uses: told, or where the sky swamps the read noise. */
export const usedSubS = (sheet: RigSheet, plan: Plan, skyPerS: number): number =>
  plan.subS ??
  swampingExposureS(Math.max(0.1, sheet.readNoiseElectrons ?? 1), skyPerS, plan.excessPercent / 100);

/** Object, sky and camera of one pixel as the CCD equation wants them; null while something is not told. */
export function targetOf(sheet: RigSheet, plan: Plan, skyPerS: number | null): Target | null {
  const { readNoiseElectrons: readNoise, skyMagPerArcsec2 } = sheet;
  if (readNoise === null || !skyMagPerArcsec2 || !skyPerS) return null;
  const objectPerS = skyPerS * 10 ** (-0.4 * (plan.objectMagPerArcsec2 - skyMagPerArcsec2));
  return { objectPerS, skyPerS, readNoise, subS: usedSubS(sheet, plan, skyPerS) };
}

export function total(sheet: RigSheet, plan: Plan, measured: number | null): Told {
  return tell(
    {
      id: 'total',
      title: 'How long in all',
      formula: 'T = SNR² (S + B + R²/t) / S², per pixel; S = B · 10^(−0.4 (μ object − μ sky))',
      source:
        'CCD equation (Newberry 1991), dark current left out. The object’s rate comes from the sky’s own by their difference in magnitudes, so the zero point cancels where the sky was measured.',
    },
    sheet,
    ['readNoiseElectrons', 'skyMagPerArcsec2'],
    (known) => {
      const target = targetOf(known, plan, measured ?? skyFromSheet(known, true));
      if (!target)
        return [
          'The sky’s rate is not known: open a frame of yours with gain and exposure, or fill in aperture, pixel, focal length and light counted.',
        ];
      const { subS } = target;
      const seconds = totalExposureS(target, plan.snr);
      const best = whatBuysMost(target)[0];
      return [
        `${told(plan.objectMagPerArcsec2, 'mag per ″²')} to ${told(plan.snr, '')} times the noise in every pixel takes ${duration(seconds)}: ${Math.ceil(seconds / subS)} subs of ${duration(subS)}.`,
        `The single change that buys most: ${best.change}, then ${duration(seconds * best.factor)} would do.`,
      ];
    },
  );
}

export function air(sheet: RigSheet, plan: Plan): Told {
  const altitude = plan.altitudeDeg;
  const spread = dispersionArcsec(0.45, 0.65, altitude);
  const scale =
    sheet.focalLengthMm && sheet.pixelSizeUm
      ? scaleArcsecPerPx(sheet.pixelSizeUm, sheet.focalLengthMm)
      : null;
  const drift = refractionDriftArcsecPerS(altitude, GREEN_UM);
  const says = [
    `At ${told(altitude, '°')} blue and red (0.45 and 0.65 µm) are drawn ${told(spread, '″')} apart${scale ? `, ${told(spread / scale, 'px')}` : ''}, blue nearer the zenith.`,
    `Stars stand ${told(refractionArcsec(altitude, GREEN_UM), '″')} too high, through ${told(airmass(altitude), '')} airmasses; while the sky turns that alone moves them by up to ${told(60 * drift, '″')} a minute.`,
  ];
  if (sheet.usualSeeingArcsec)
    says.push(
      `Seeing of ${told(sheet.usualSeeingArcsec, '″')} overhead becomes ${told(seeingAt(sheet.usualSeeingArcsec, airmass(altitude)), '″')} there.`,
    );
  return {
    id: 'air',
    title: 'What the air does at this altitude',
    says,
    missing: [],
    formula: 'spread = 206265 (n₁ − n₂) tan z; refraction = A tan z + B tan³ z; seeing ∝ airmass^0.6',
    source:
      'Filippenko 1982, PASP 94, 715; Pickering 2002 (airmass); Green 1985 and Stone 1996 (curved layers); Fried 1966 (seeing). 1013 hPa, 10 °C, 6 hPa of vapour; good above 20°.',
  };
}

export const brightestSafe = (sheet: RigSheet, plan: Plan, skyPerS: number | null): string | null => {
  const collector = collectorOf(sheet, true);
  const fwhm = centredFwhmPx(sheet);
  if (!collector || !fwhm || !sheet.fullWellElectrons || !skyPerS) return null;
  const subS = usedSubS(sheet, plan, skyPerS);
  const magnitude = saturatingMagnitude(subS, sheet.fullWellElectrons, skyPerS, fwhm, collector);
  return Number.isFinite(magnitude)
    ? `In subs of ${duration(subS)} stars brighter than magnitude ${told(magnitude, '')} fill their brightest pixel.`
    : `In subs of ${duration(subS)} the sky alone fills the pixels.`;
};
