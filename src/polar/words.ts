import type { Estimate } from '../../workers/protocol/report.ts';
import type { AxisErrors } from '../../workers/rig/polar-axis.ts';
import { plain, withError } from '../format/quantity.ts';
import type { KeptDrift } from '../keep/run-shelf.ts';
import type { TwoFields } from './fields.ts';

const DEG = Math.PI / 180;
/** One error alone is named where the other would have to be so many times as large to show as much. */
const ALONE = 4;
const SURE = 2;

/**
 * What the declination drift says of the polar axis: one field gives high sin H + east cos(latitude) cos H (small-angle
 * geometry, as `polarDrift`), so near the meridian the axis' azimuth, six hours from it its height.
 */
export function polarText(polar: {
  combinationArcmin: Estimate;
  hourAngleH: number;
  latitudeDeg: number;
}): string {
  const { combinationArcmin: both, hourAngleH, latitudeDeg } = polar;
  if (!(Math.abs(both.value) > SURE * both.sigma))
    return `The drift in declination shows no error of the polar axis from here: ${withError(both)} arc minutes.`;
  const high = Math.sin(hourAngleH * 15 * DEG);
  const east = Math.cos(latitudeDeg * DEG) * Math.cos(hourAngleH * 15 * DEG);
  const refracted =
    'Refraction and a tube that sags are in it, so check with a second field before you turn a screw.';
  if (Math.abs(high) > ALONE * Math.abs(east))
    return `The polar axis points ${arcminText(both.value / high, both.sigma / high)} too ${both.value / high > 0 ? 'high' : 'low'}. ${refracted}`;
  if (Math.abs(east) > ALONE * Math.abs(high))
    return `The polar axis points ${arcminText(both.value / east, both.sigma / east)} too far ${both.value / east > 0 ? 'east' : 'west'}. ${refracted}`;
  return (
    `The polar axis is off, but one field shows only a mixture: ${partText(high, 'high', 'low')} and ${partText(east, 'east', 'west')} together make ${arcminText(both.value, both.sigma)}${both.value < 0 ? ' the other way' : ''}. ` +
    'A field on the meridian shows east and west alone, one six hours from it high and low.'
  );
}
/** "0.88 of what it points too low". */
const partText = (part: number, plus: string, minus: string): string =>
  `${plain(Math.abs(part), 2)} of what it points too ${plus === 'east' ? 'far ' : ''}${part > 0 ? plus : minus}`;
const arcminText = (value: number, sigma: number): string =>
  `${withError({ value: Math.abs(value), sigma: Math.max(LEAST_ARCMIN, Math.abs(sigma)) })} arc minutes`;
/** Nobody turns a screw by less; smaller errors are those of a drawn sky. */
const LEAST_ARCMIN = 0.01;

/** An error that is not told, or too small to be printed, is not printed as nought. */
const drifted = ({ value, sigma }: Estimate): string =>
  sigma < 0.0005 ? plain(Math.abs(value), 3) : withError({ value: Math.abs(value), sigma });

/** "0.53 ± 0.02″ a minute to the south". */
export const driftText = ({ decArcsecPerMin: drift }: KeptDrift): string =>
  `${drifted(drift)}″ a minute to the ${drift.value < 0 ? 'south' : 'north'}`;

/** "2 h 20 min west of the meridian". */
export function hourAngleText(hourAngleH: number): string {
  const minutes = Math.round(60 * Math.abs(hourAngleH));
  if (minutes === 0) return 'on the meridian';
  const [hours, rest] = [Math.floor(minutes / 60), minutes % 60];
  const span = [hours && `${hours} h`, rest && `${rest} min`].filter(Boolean).join(' ');
  return `${span} ${hourAngleH < 0 ? 'east' : 'west'} of the meridian`;
}

/** What one screw must do. */
export interface ScrewLine {
  screw: 'height' | 'azimuth';
  /** What is wrong, with its error. */
  says: string;
  /** What hands do about it. */
  doThis: string;
}

/** Height and azimuth, each with the way to turn. The end of the axis that points at the pole is what moves. */
export function screwLines({ highArcmin, eastArcmin }: AxisErrors, latitudeDeg: number): ScrewLine[] {
  const pole = latitudeDeg < 0 ? 'south' : 'north';
  const seen = ({ value, sigma }: Estimate) => Math.abs(value) > SURE * sigma;
  const amount = (of: Estimate) => arcminText(of.value, of.sigma);
  const clear = (of: Estimate, screw: string) => ({
    says: `No error is seen: ${withError(of)} arc minutes.`,
    doThis: `Leave the ${screw} alone.`,
  });
  const [low, west] = [highArcmin.value < 0, eastArcmin.value < 0];
  // Whoever faces the north pole has the east on the right, whoever faces the south pole on the left.
  const toRight = west === (pole === 'north');
  const goes = west ? 'east' : 'west';
  return [
    {
      screw: 'height',
      ...(seen(highArcmin)
        ? {
            says: `The axis points ${amount(highArcmin)} too ${low ? 'low' : 'high'}.`,
            doThis: `${low ? 'Raise' : 'Lower'} it by as much with the altitude screw.`,
          }
        : clear(highArcmin, 'altitude screw')),
    },
    {
      screw: 'azimuth',
      ...(seen(eastArcmin)
        ? {
            says: `The axis points ${amount(eastArcmin)} too far ${west ? 'west' : 'east'}.`,
            doThis: `Turn the mount by as much on its base with the azimuth screws, so that the axis goes ${goes}: to the ${toRight ? 'right' : 'left'} as you stand behind the mount and face the celestial ${pole} pole.`,
          }
        : clear(eastArcmin, 'azimuth screws')),
    },
  ];
}

/** What is in the numbers besides the axis, and what to think of their errors. */
export function caveats(answer: Extract<TwoFields, { found: true }>): string[] {
  const { refraction, growth, errorUntold, axis } = answer;
  const said: string[] = [];
  if (refraction) {
    const [high, east] = [refraction.highArcmin.value, refraction.eastArcmin.value];
    said.push(
      `Refraction is taken off: alone it would look like an axis ${plain(Math.abs(high), 1)}′ too ${high < 0 ? 'low' : 'high'} and ${plain(Math.abs(east), 1)}′ too far ${east < 0 ? 'west' : 'east'}.`,
    );
  } else
    said.push(
      'Refraction is in these numbers: some arc minutes where a field stands below 30°. With the declinations of both fields it is taken off.',
    );
  said.push(
    'Whatever bends as the mount turns is in them: a tube, a clamp or a tripod that gives way looks like an axis that is off. Take both fields on the same side of the pier if you can.',
  );
  if (growth > WIDE)
    said.push(
      `The fields are not six hours apart, which makes the errors ${plain(growth, 1)} times as large as they need be.`,
    );
  if (errorUntold)
    said.push(
      'The error of the typed drift was not told, so the errors above are smaller than the true ones.',
    );
  if ([axis.highArcmin, axis.eastArcmin].some(({ value }) => Math.abs(value) > LARGE_ARCMIN))
    said.push(
      'For errors as large as this the formula is rough: turn the screws, then take both fields again.',
    );
  return said;
}
/** From so many times on the errors are worth a word. */
const WIDE = 1.4;
/** Beyond 5 degrees the small-angle geometry is off by some per cent (elementary: 1 - cos 5° and sin 5° itself). */
const LARGE_ARCMIN = 300;

/** What is still needed, in a sentence. */
export function lacksText({ lacks, apartH }: Extract<TwoFields, { found: false }>): string {
  switch (lacks) {
    case 'latitude':
      return 'The latitude of the telescope is needed: tell its place at the foot of this page, where the Sun is.';
    case 'here':
      return 'Where did this field stand? Tell its hour angle, or its right ascension.';
    case 'other':
      return 'Now the other field: choose the run that shows it, or type its drift.';
    case 'there':
      return 'Where did the other field stand? Tell its hour angle.';
    case 'spread':
      return apartH! < 6
        ? `The two fields stand only ${plain(apartH!, 1)} hours of hour angle apart, so they show the same mixture of both errors. Take one four to eight hours away.`
        : `The two fields stand ${plain(apartH!, 1)} hours of hour angle apart, on opposite sides of the pole, so they show the same mixture of both errors. Take one four to eight hours away.`;
  }
}
