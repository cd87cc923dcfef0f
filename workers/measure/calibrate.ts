import { FLAG, NOT_FOR_SHAPE } from '../protocol/flags.ts';
import type { Plane } from '../wasm/plane.ts';
import type { StarResiduals } from './mean-residual.ts';
import { allTogether, FEWEST_CELLS } from './pooled-ratios.ts';
import type { MeasuredStar } from './star.ts';
import {
  discOf,
  groupOf,
  residualsOf,
  widthRatio,
  type Disc,
  type FitSettings,
  type Group,
  type Sample,
} from './width-ratio.ts';
import type { Workspace } from './workspace.ts';

const CELLS = 3;
const STARS_PER_CELL = 48;
const MIN_SNR = 20;
/** Next to nothing: the residuals change the width by no more. */
const SMOOTH_RATIO = 0.01;

/**
 * No closed profile has the exact shape of a defocused, comatic or kicked star, nor of one averaged over a coarse
 * pixel; the area inside its half-height contour is then a few per cent off, for all stars of a region alike. So in
 * each of 3 x 3 cells the residuals of the brightest stars are laid over each other, a few to the pixel, added to the
 * cell's mean profile, and the half-height area of the sum is compared with that of the profile alone. Each star's
 * width is multiplied by the ratio, interpolated between the cells. A cell's ratio is known only so well: the more the
 * cells' differences are explained by their noise, the more they are drawn to the one ratio of the whole frame.
 */
export function calibrateWidths(
  space: Workspace,
  plane: Plane,
  samples: Sample[],
  settings: FitSettings,
): void {
  const cells = Array.from({ length: CELLS * CELLS }, () => [] as Sample[]);
  const usable = samples
    .filter(({ star }) => !(star.flags & (NOT_FOR_SHAPE | FLAG.ring)) && star.snr > MIN_SNR)
    .sort((a, b) => b.star.snr - a.star.snr);
  for (const sample of usable) {
    const cell = cells[cellOf(sample.star, plane)];
    if (cell.length < STARS_PER_CELL) cell.push(sample);
  }
  const { arena } = space.kernels;
  const mark = arena.mark();
  const groups = cells.map((members) => groupOf(space, members));
  const known = groups.filter((group) => group !== null).length;
  // Too few cells with stars of their own: then the frame's brightest speak for all.
  const whole = known < FEWEST_CELLS ? groupOf(space, usable.slice(0, STARS_PER_CELL)) : null;
  const needed = new Map<Sample, number>();
  for (const group of [whole, ...groups])
    for (const sample of group?.members ?? [])
      needed.set(sample, Math.max(needed.get(sample) ?? 0, group!.reachPx + discOf(space, group!, 'wide')));
  const residuals = new Map<Sample, StarResiduals>();
  for (const [sample, reachPx] of needed)
    residuals.set(sample, residualsOf(space, sample, settings, reachPx));
  const ratiosWith = (disc: Disc) => {
    const ratioOf = (group: Group | null) => group && widthRatio(space, group, residuals, disc);
    return allTogether(groups.map(ratioOf), ratioOf(whole));
  };
  const fine = ratiosWith('fine');
  const wide = fine.alike && Math.abs(fine.overall - 1) < SMOOTH_RATIO ? ratiosWith('wide') : null;
  const { ratios } = wide?.alike ? wide : fine;
  arena.reset(mark);
  const values = ratios.map((ratio) => ratio.value);
  const sigmas = ratios.map((ratio) => ratio.sigma);
  for (const { star } of samples) {
    const ratio = ratioAt(values, star, plane);
    star.fwhmSigmaPx = Math.hypot(star.fwhmSigmaPx * ratio, star.fwhmPx * ratioAt(sigmas, star, plane));
    star.fwhmPx *= ratio;
  }
}

function cellOf({ xPx, yPx }: MeasuredStar, { widthPx, heightPx }: Plane): number {
  const index = (value: number, size: number) =>
    Math.max(0, Math.min(CELLS - 1, Math.floor(((value + 0.5) * CELLS) / size)));
  return index(yPx, heightPx) * CELLS + index(xPx, widthPx);
}

/** Linear between the cells' centres, level outside them. */
function ratioAt(ratios: number[], { xPx, yPx }: MeasuredStar, { widthPx, heightPx }: Plane): number {
  const place = (value: number, size: number) =>
    Math.max(0, Math.min(CELLS - 1, ((value + 0.5) * CELLS) / size - 0.5));
  const fx = place(xPx, widthPx);
  const fy = place(yPx, heightPx);
  const i = Math.min(Math.floor(fx), CELLS - 2);
  const j = Math.min(Math.floor(fy), CELLS - 2);
  const u = fx - i;
  const v = fy - j;
  const at = (col: number, row: number) => ratios[row * CELLS + col];
  return (
    (1 - v) * ((1 - u) * at(i, j) + u * at(i + 1, j)) + v * ((1 - u) * at(i, j + 1) + u * at(i + 1, j + 1))
  );
}
