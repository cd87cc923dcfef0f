import {
  airmass,
  dispersionArcsec,
  refractionArcsec,
  refractionDriftArcsecPerS,
} from '../../../workers/rig/air.ts';
import { GREEN_UM, scaleArcsecPerPx } from '../../../workers/rig/image-scale.ts';
import {
  centralShare,
  saturatingMagnitude,
  starElectronsPerS,
  surfaceElectronsPerS,
  type Collector,
} from '../../../workers/rig/photons.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import {
  swampingExposureS,
  totalExposureS,
  whatBuysMost,
  type Target,
} from '../../../workers/rig/sub-exposure.ts';
import {
  altazRotationArcsecPerS,
  fixedTrailArcsec,
  longestUnguidedS,
  worstPolarDriftArcsecPerS,
} from '../../../workers/rig/tracking.ts';
import { halfDiagonalMm } from '../../../workers/rig/coma.ts';
import type { Plan } from '../plan.ts';
import { centredFwhmPx } from './field.ts';
import { duration, tell, told, type Told } from './told.ts';

/** The sky in electrons per second and pixel, and where that is known from. */
export interface SkyRate {
  perS: number;
  from: 'frame' | 'sheet';
}

/** An open camera passes about this much, nanometres (common practice, no source). */
const OPEN_BAND_NM = 400;

export function collectorOf(sheet: RigSheet, filtered: boolean): Collector | null {
  const { apertureMm, efficiency, filterBandNm } = sheet;
  if (!apertureMm || !efficiency) return null;
  const bandNm = filtered && filterBandNm ? filterBandNm : OPEN_BAND_NM;
  return { apertureMm, obstruction: sheet.obstruction ?? 0, bandNm, efficiency };
}

/** Sky by the sheet's brightness of it; null while something is not told. */
export function skyFromSheet(sheet: RigSheet, filtered: boolean): number | null {
  const collector = collectorOf(sheet, filtered);
  const { focalLengthMm, pixelSizeUm, skyMagPerArcsec2 } = sheet;
  if (!collector || !focalLengthMm || !pixelSizeUm || !skyMagPerArcsec2) return null;
  // A mosaic gives each pixel about a third of the band.
  const share = sheet.colour === 'mosaic' ? 1 / 3 : 1;
  return (
    share * surfaceElectronsPerS(skyMagPerArcsec2, scaleArcsecPerPx(pixelSizeUm, focalLengthMm), collector)
  );
}

/** A limit on the length of one sub: from there on something is good, or up to there. */
export interface Limit {
  name: string;
  seconds: number;
  side: 'from' | 'up-to';
}

/** All limits that the sheet and the frame tell, in the order in which they are drawn. */
export function limits(sheet: RigSheet, plan: Plan, measured: number | null): Limit[] {
  const found: Limit[] = [];
  const { readNoiseElectrons: readNoise, pixelSizeUm, focalLengthMm } = sheet;
  const swamp = (name: string, perS: number | null) => {
    if (readNoise && perS)
      found.push({
        name,
        seconds: swampingExposureS(readNoise, perS, plan.excessPercent / 100),
        side: 'from',
      });
  };
  if (measured) swamp('sky swamps read noise (this frame)', measured);
  swamp(
    sheet.filterBandNm ? 'sky swamps read noise, with the filter' : 'sky swamps read noise',
    skyFromSheet(sheet, true),
  );
  if (sheet.filterBandNm) swamp('sky swamps read noise, without it', skyFromSheet(sheet, false));

  const scale = pixelSizeUm && focalLengthMm ? scaleArcsecPerPx(pixelSizeUm, focalLengthMm) : null;
  if (scale) found.push(...trackingLimits(sheet, plan, plan.trailLimitPx * scale));
  const collector = collectorOf(sheet, true);
  const fwhm = centredFwhmPx(sheet);
  if (collector && fwhm && sheet.fullWellElectrons)
    for (const magnitude of [6, 9]) {
      const share = sheet.colour === 'mosaic' ? 1 / 3 : 1;
      const perS = share * starElectronsPerS(magnitude, collector) * centralShare(fwhm);
      found.push({
        name: `star of magnitude ${magnitude} fills its pixel`,
        seconds: sheet.fullWellElectrons / perS,
        side: 'up-to',
      });
    }
  return found.filter(({ seconds }) => Number.isFinite(seconds) && seconds > 0);
}

function trackingLimits(sheet: RigSheet, plan: Plan, limitArcsec: number): Limit[] {
  if (sheet.following === 'none')
    return [
      {
        name: 'stars trail, mount at rest',
        seconds: limitArcsec / fixedTrailArcsec(1, plan.declinationDeg),
        side: 'up-to',
      },
    ];
  const found: Limit[] = [];
  const amplitude = (sheet.periodicErrorArcsec ?? 0) / 2;
  const period = sheet.periodicPeriodS ?? 0;
  const polar = sheet.polarErrorArcmin ? worstPolarDriftArcsecPerS(sheet.polarErrorArcmin) : 0;
  const drift = (sheet.driftArcsecPerMin ?? 0) / 60;
  if (amplitude && period)
    found.push({
      name: 'periodic error, worst start',
      seconds: longestUnguidedS(limitArcsec, amplitude, period, 0),
      side: 'up-to',
    });
  if (polar) found.push({ name: 'polar axis, worst place', seconds: limitArcsec / polar, side: 'up-to' });
  if (drift) found.push({ name: 'other drift', seconds: limitArcsec / drift, side: 'up-to' });
  const causes = [amplitude && period, polar, drift].filter(Boolean).length;
  if (causes > 1)
    found.push({
      name: 'all of these at once, unguided',
      seconds: longestUnguidedS(limitArcsec, period ? amplitude : 0, period || 1, polar + drift),
      side: 'up-to',
    });
  const rotation = rotationLimitS(sheet, plan);
  if (rotation) found.push({ name: 'the field turns (altazimuth)', seconds: rotation, side: 'up-to' });
  return found;
}

/** Altazimuth: when a corner has moved by the limit, looking at the meridian, where it is worst. */
function rotationLimitS(sheet: RigSheet, plan: Plan): number | null {
  const { following, latitudeDeg, sensorWidthMm, sensorHeightMm, pixelSizeUm } = sheet;
  if (following !== 'altazimuth' || latitudeDeg === null || !sensorWidthMm || !sensorHeightMm || !pixelSizeUm)
    return null;
  const rate = Math.abs(altazRotationArcsecPerS(latitudeDeg, 180, plan.altitudeDeg)) / 206264.8;
  return (plan.trailLimitPx * pixelSizeUm) / (1000 * halfDiagonalMm(sensorWidthMm, sensorHeightMm) * rate);
}

/** The window that the limits leave, in a sentence. */
export function windowSentence(all: Limit[]): string[] {
  const starts = all.filter(({ side }) => side === 'from').map(({ seconds }) => seconds);
  const ends = all.filter(({ side, name }) => side === 'up-to' && !name.includes('magnitude'));
  if (starts.length === 0 && ends.length === 0) return [];
  const from = starts.length ? starts[0] : null;
  const last = ends.length ? ends.reduce((a, b) => (b.seconds < a.seconds ? b : a)) : null;
  if (from === null) return [`Unguided, subs can last ${duration(last!.seconds)}: then ${reasonOf(last!)}.`];
  if (!last) return [`Subs of ${duration(from)} or more lose little to read noise.`];
  return last.seconds >= from
    ? [
        `Subs between ${duration(from)} and ${duration(last.seconds)} are long enough for the sky and short enough for the mount.`,
      ]
    : [
        `The sky asks for ${duration(from)}, the mount allows ${duration(last.seconds)} unguided: guide, align the polar axis better, or take more short subs and lose some to read noise.`,
      ];
}
const reasonOf = ({ name }: Limit): string =>
  name.startsWith('all') ? 'the mount’s errors add up to the limit' : name;

export const subExposure = (
  sheet: RigSheet,
  plan: Plan,
  measured: number | null,
  measuredWhy: string,
): Told => {
  const found = limits(sheet, plan, measured);
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
      const skyPerS = measured ?? skyFromSheet(known, true);
      if (!skyPerS)
        return [
          'The sky’s rate is not known: open a frame of yours with gain and exposure, or fill in aperture, pixel, focal length and light counted.',
        ];
      const subS = usedSubS(known, plan, skyPerS);
      const target: Target = {
        objectPerS: skyPerS * 10 ** (-0.4 * (plan.objectMagPerArcsec2 - known.skyMagPerArcsec2)),
        skyPerS,
        readNoise: known.readNoiseElectrons,
        subS,
      };
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
      `Seeing of ${told(sheet.usualSeeingArcsec, '″')} overhead becomes ${told(sheet.usualSeeingArcsec * airmass(altitude) ** 0.6, '″')} there.`,
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
