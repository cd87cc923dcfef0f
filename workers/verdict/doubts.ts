import type { FieldFit } from '../fit/field-fit.ts';
import { normalCdf } from '../math/normal.ts';
import type { Estimate } from '../protocol/report.ts';
import type { Nature } from '../protocol/stamps.ts';

/** What makes one doubt that the frame shows stars as they fell on the sensor, and the sentences that say so. */
export interface Doubts {
  notAllStars: boolean;
  brightnessAltered: boolean;
  sentences: string[];
}

/**
 * Neighbouring stars differ in size by a few per cent: by colour where glass or air parts colours, by where they stand in
 * coarse pixels, by a companion; simulated raw fields have 0 to 2 %. Galaxies of one brightness differ in radius by 30 to
 * 50 % (Shen et al. 2003, MNRAS 343, 978), of which the air leaves half or more.
 */
const STARS_DIFFER = 0.12;
/**
 * Growth of the width with the light: simulated raw fields have up to 0.025. Where a picture shows the root of the light (a
 * power of 1 / 2.2, near the curve of IEC 61966-2-1) stars far above the sky are sqrt(2.2) = 1.48 times as wide and those far
 * below it are not: 0.4 over a factor of some forty, 0.1 per unit of the logarithm; stronger stretches give more.
 */
const LIGHT_WIDENS = 0.06;
/** How surely a limit must be passed. */
const SURE = 0.95;

export const NO_DOUBTS: Doubts = { notAllStars: false, brightnessAltered: false, sentences: [] };

/** From the sizes of all objects; the two images of a kicked mount differ in size without being anything but stars. */
export function doubtsOf({ sizes, developed }: Nature, path: FieldFit['path']): Doubts {
  if (!sizes || path === 'jump' || path === 'swing') return { ...NO_DOUBTS, brightnessAltered: developed };
  const widens = surelyAbove(sizes.perLight, LIGHT_WIDENS);
  const differ = surelyAbove(sizes.scatter, STARS_DIFFER);
  const sentences: string[] = [];
  if (widens)
    sentences.push(
      `Bright stars are wider than faint ones, by ${Math.round(100 * (10 ** sizes.perLight.value - 1))} % for ten times the light: the brightness was altered, as in a stretched or developed picture or on film. So no cause is told with confidence; give the raw exposure.`,
    );
  if (differ)
    sentences.push(
      `Neighbours differ in size by ${Math.round(100 * sizes.scatter.value)} % beyond noise: stars of one place are alike, galaxies are not. What is no star tells nothing of telescope and mount.`,
    );
  return { notAllStars: differ, brightnessAltered: widens || developed, sentences };
}

const surelyAbove = ({ value, sigma }: Estimate, limit: number): boolean =>
  normalCdf((value - limit) / sigma) > SURE;
