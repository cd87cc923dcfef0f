import type { LongestExposure } from '../../../workers/protocol/series.ts';
import { halfDiagonalMm } from '../../../workers/rig/coma.ts';
import { ARCSEC_PER_RADIAN, scaleArcsecPerPx } from '../../../workers/rig/image-scale.ts';
import {
  centralShare,
  starElectronsPerS,
  surfaceElectronsPerS,
  type Collector,
} from '../../../workers/rig/photons.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import { swampingExposureS } from '../../../workers/rig/sub-exposure.ts';
import {
  altazRotationArcsecPerS,
  fixedTrailArcsec,
  longestUnguidedS,
  worstPolarDriftArcsecPerS,
} from '../../../workers/rig/tracking.ts';
import type { Plan } from '../plan.ts';
import { centredFwhmPx } from './field.ts';
import { duration, told } from './told.ts';

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

/** All limits that the sheet, the frame and the run tell, in the order in which they are drawn. */
export function limits(
  sheet: RigSheet,
  plan: Plan,
  measured: number | null,
  run: LongestExposure | null = null,
): Limit[] {
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
  const seen = run?.share90 ?? null;
  if (seen)
    found.push({
      name: `measured run: nine of ten subs trail less than ${told(run!.limitPx, 'px')}`,
      seconds: seen.value,
      side: 'up-to',
    });
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
  const rate = Math.abs(altazRotationArcsecPerS(latitudeDeg, 180, plan.altitudeDeg)) / ARCSEC_PER_RADIAN;
  return (plan.trailLimitPx * pixelSizeUm) / (1000 * halfDiagonalMm(sensorWidthMm, sensorHeightMm) * rate);
}

/** The window that the limits leave, in a sentence. */
export function windowSentence(all: Limit[]): string[] {
  const starts = all.filter(({ side }) => side === 'from').map(({ seconds }) => seconds);
  const ends = all.filter(({ side, name }) => side === 'up-to' && !name.includes('magnitude'));
  if (starts.length === 0 && ends.length === 0) return [];
  const from = starts.length ? starts[0] : null;
  // What a run showed of the mount says more than what the sheet foretells for the worst place.
  const seen = ends.find(({ name }) => name.startsWith('measured run')) ?? null;
  const last = seen ?? (ends.length ? ends.reduce((a, b) => (b.seconds < a.seconds ? b : a)) : null);
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
  name.startsWith('measured run')
    ? 'one sub in ten trails more, as the measured run shows'
    : name.startsWith('all')
      ? 'the mount’s errors add up to the limit'
      : name;
