import type { Estimate } from '../../workers/protocol/report.ts';
import { plain } from '../../workers/rig/plain-number.ts';

export { plain };

/** The one place where numbers become text. Lengths are given in pixels and told in the unit that is asked for. */
export type LengthUnit = 'px' | 'arcsec' | 'um';

export interface PixelScale {
  arcsecPerPx: number | null;
  umPerPx: number | null;
}

export const UNIT_SYMBOL: Record<LengthUnit, string> = { px: 'px', arcsec: '″', um: 'µm' };
/** As `UNIT_SYMBOL`, where it stands alone and a double prime would be overlooked. */
export const UNIT_LABEL: Record<LengthUnit, string> = { px: 'px', arcsec: 'arcsec', um: 'µm' };
export const UNIT_NAME: Record<LengthUnit, string> = {
  px: 'pixels',
  arcsec: 'arc seconds',
  um: 'micrometres',
};

export const NO_VALUE = '–';
const THIN = '\u202f';

/** Units a pixel can be told in: arc seconds and micrometres only when the scale is known. */
export const availableUnits = (scale: PixelScale): LengthUnit[] =>
  (['px', 'arcsec', 'um'] as const).filter((unit) => factor(unit, scale) !== null);

/** How many of `unit` one pixel is; null when nothing tells. */
export function factor(unit: LengthUnit, scale: PixelScale): number | null {
  if (unit === 'px') return 1;
  return unit === 'arcsec' ? scale.arcsecPerPx : scale.umPerPx;
}

export interface Length {
  value: number;
  sigma: number;
}

/** A length in pixels as a length in `unit` (in pixels where the scale is unknown). */
export function inUnit(estimate: Estimate, unit: LengthUnit, scale: PixelScale): Length {
  const by = factor(unit, scale) ?? 1;
  return { value: estimate.value * by, sigma: estimate.sigma * by };
}

/**
 * Decimals to print: the standard error keeps two digits when it begins with 1, else one, so that rounding never
 * changes it by more than a fifth (a common rule in physics; source from memory). Between 0 and 3.
 */
export function decimalsFor(sigma: number): number {
  if (!(sigma > 0) || !Number.isFinite(sigma)) return 2;
  const exponent = Math.floor(Math.log10(sigma));
  const leading = sigma / 10 ** exponent;
  return Math.min(3, Math.max(0, (leading < 1.95 ? 1 : 0) - exponent));
}

/** "3.12 ± 0.04": value and standard error to the same decimals. */
export function withError(estimate: Estimate | null, decimals?: number): string {
  if (!estimate || !Number.isFinite(estimate.value)) return NO_VALUE;
  const places = decimals ?? decimalsFor(estimate.sigma);
  if (!Number.isFinite(estimate.sigma)) return plain(estimate.value, places);
  return `${plain(estimate.value, places)} ± ${plain(estimate.sigma, places)}`;
}

/** "3.1 px", "2.4″": a length without its error, for sentences. */
export function shortLength(valuePx: number, unit: LengthUnit, scale: PixelScale, decimals = 1): string {
  const value = valuePx * (factor(unit, scale) ?? 1);
  const shown = factor(unit, scale) === null ? 'px' : unit;
  return `${plain(value, decimals)}${shown === 'arcsec' ? '' : THIN}${UNIT_SYMBOL[shown]}`;
}

/**
 * A sentence that tells widths in pixels ("2.9 px"), told in the unit that is asked for. Whole numbers of pixels are
 * places on the frame and stay.
 */
export const retold = (sentence: string, unit: LengthUnit, scale: PixelScale): string =>
  sentence.replace(/(\d+\.\d+) px/g, (_, px) => shortLength(Number(px), unit, scale));

/** "3.12 ± 0.04 px". */
export function lengthWithError(estimate: Estimate | null, unit: LengthUnit, scale: PixelScale): string {
  if (!estimate || !Number.isFinite(estimate.value)) return NO_VALUE;
  const shown = factor(unit, scale) === null ? 'px' : unit;
  return `${withError(inUnit(estimate, unit, scale))}${THIN}${UNIT_SYMBOL[shown]}`;
}

/** "-36.2 ± 0.3": an angle in degrees, to a tenth at most. */
export const angleWithError = (estimate: Estimate | null): string =>
  withError(estimate, estimate ? Math.min(1, decimalsFor(estimate.sigma)) : 0);

/** An excess over one as a percentage: elongation 1.12 is "12 %". */
export const excessPercent = (ratio: number): string => `${plain(100 * (ratio - 1), 0)}${THIN}%`;

/** 1234567 as "1 234 567", with thin spaces. */
export const count = (value: number): string =>
  Math.round(value)
    .toString()
    .replace(/\B(?=(\d{3})+$)/g, THIN);

export const megabytes = (bytes: number): string => `${plain(bytes / 1e6, bytes < 1e7 ? 1 : 0)}${THIN}MB`;
