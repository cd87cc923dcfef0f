import type { Estimate, FrameReport, Region } from '../../workers/protocol/report.ts';

/** What the size of a star is told by: the width at half height means nothing for rings and double images. */
export type Size = 'fwhmPx' | 'hfdPx';

/** Centre against corners, each with the standard error of what is said. */
export interface Comparison {
  size: Size;
  centrePx: Estimate | null;
  cornersPx: Estimate | null;
  centreElongation: Estimate | null;
  cornersElongation: Estimate | null;
  /** Corners minus centre, and whether that is more than two standard errors. */
  difference: Estimate | null;
  verdict: 'wider' | 'narrower' | 'same' | 'unsure' | 'unknown';
  /** The corner that is wider than each other one by more than two standard errors, if there is one. */
  worst: Region | null;
}

/** A difference counts from two standard errors on (95 % of a normal distribution lie within 1.96). */
const SIGNIFICANT = 2;
/** "The corners match" may be said when a difference of a twentieth would have been seen. */
const FINE_ENOUGH = 0.05;
/** However sure, less than this is the same to somebody at a telescope (common practice, no source). */
const WORTH_SAYING = 0.02;

export const cornerRegions = (report: FrameReport): Region[] =>
  report.regions.filter(
    (r) => (r.col === 0 || r.col === r.cols - 1) && (r.row === 0 || r.row === r.rows - 1),
  );

export const centreRegion = (report: FrameReport): Region | null =>
  report.regions.find((r) => 2 * r.col === r.cols - 1 && 2 * r.row === r.rows - 1) ?? null;

/** Mean of independent estimates with its standard error, sqrt(sum sigma^2) / n; null for none. */
export function meanOf(estimates: (Estimate | null)[]): Estimate | null {
  const given = estimates.filter((e) => e !== null);
  if (given.length === 0) return null;
  return {
    value: given.reduce((sum, e) => sum + e.value, 0) / given.length,
    sigma: Math.hypot(...given.map((e) => e.sigma)) / given.length,
  };
}

/** The half-flux diameter where it is known in the centre and three corners and the width at half height is not. */
export function sizeOf(report: FrameReport): Size {
  const known = (size: Size) =>
    centreRegion(report)?.[size] && cornerRegions(report).filter((r) => r[size]).length >= 3;
  return !known('fwhmPx') && known('hfdPx') ? 'hfdPx' : 'fwhmPx';
}

export function compare(report: FrameReport): Comparison {
  const centre = centreRegion(report);
  const corners = cornerRegions(report);
  const size = sizeOf(report);
  const centrePx = centre?.[size] ?? null;
  const cornersPx = meanOf(corners.map((r) => r[size]));
  const difference =
    centrePx && cornersPx
      ? {
          value: cornersPx.value - centrePx.value,
          sigma: Math.hypot(cornersPx.sigma, centrePx.sigma),
        }
      : null;
  return {
    size,
    centrePx,
    cornersPx,
    centreElongation: centre?.elongation ?? null,
    cornersElongation: meanOf(corners.map((r) => r.elongation)),
    difference,
    verdict: judge(difference, centrePx),
    worst: worstCorner(corners, size),
  };
}

function judge(difference: Estimate | null, centre: Estimate | null): Comparison['verdict'] {
  if (!difference || !centre) return 'unknown';
  const seen = Math.abs(difference.value);
  const reach = SIGNIFICANT * difference.sigma;
  if (seen <= reach) return reach <= FINE_ENOUGH * centre.value ? 'same' : 'unsure';
  if (seen < WORTH_SAYING * centre.value) return 'same';
  return difference.value > 0 ? 'wider' : 'narrower';
}

function worstCorner(corners: Region[], size: Size): Region | null {
  const known = corners.filter((r) => r[size]).sort((a, b) => b[size]!.value - a[size]!.value);
  if (known.length < 3) return null;
  const [worst, next] = known as [Region, Region];
  const gap = worst[size]!.value - next[size]!.value;
  return gap > SIGNIFICANT * Math.hypot(worst[size]!.sigma, next[size]!.sigma) ? worst : null;
}

/**
 * Whether the stars lean one way all over the frame: the mean distortion of the regions is larger than what they differ
 * from it by (rms). In a pattern that turns with the place, as of optics, the mean is the smaller one.
 */
export function leanTogether(report: FrameReport): boolean {
  const known = report.regions.flatMap(({ elongation, angleDeg }) => {
    if (!elongation || !angleDeg) return [];
    // A/B back to e = (A^2 - B^2) / (A^2 + B^2), as a vector of twice the angle.
    const e = (elongation.value ** 2 - 1) / (elongation.value ** 2 + 1);
    const twice = (2 * angleDeg.value * Math.PI) / 180;
    return [[e * Math.cos(twice), e * Math.sin(twice)]];
  });
  if (known.length < 3) return false;
  const mean = [0, 1].map((k) => known.reduce((sum, e) => sum + e[k], 0) / known.length);
  const spread =
    known.reduce((sum, e) => sum + (e[0] - mean[0]) ** 2 + (e[1] - mean[1]) ** 2, 0) / known.length;
  return Math.hypot(...mean) > Math.sqrt(spread);
}
