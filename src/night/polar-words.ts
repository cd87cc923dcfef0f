import type { PolarError, SkyTracking } from '../../workers/protocol/series.ts';
import { plain, withError } from '../format/quantity.ts';

const DEG = Math.PI / 180;
/** One error alone is named where the other would have to be so many times as large to show as much. */
const ALONE = 4;
const SURE = 2;

/**
 * What the declination drift says of the polar axis: one field gives high sin H + east cos(latitude) cos H (small-angle
 * geometry, as `polarDrift`), so near the meridian the axis' azimuth, six hours from it its height.
 */
export function polarText(polar: PolarError): string {
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
  `${withError({ value: Math.abs(value), sigma: Math.abs(sigma) })} arc minutes`;

/** What the polar axis still needs, where right ascension and declination are known apart. */
export const polarLacks = ({ polar }: SkyTracking): string | null =>
  polar
    ? null
    : 'For the polar axis this page needs the place of the telescope (below) and frames that say where they point (RA and DEC in their headers).';
