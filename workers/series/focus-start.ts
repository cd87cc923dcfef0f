import { solveSymmetric } from '../math/linear.ts';
import { median, quantile } from '../math/robust.ts';
import type { FocusData } from './focus-samples.ts';
import { fitFocus, plainStart, type FocusFit, type Prior } from './focus-fit.ts';
import { P, type FocusModel } from './focus-model.ts';

export const CELLS = 3;
const GRID = 41;

/** Cells of the 3 x 3 grid that a place (half-diagonals) may lie in. */
export function cellOf(data: FocusData, x: number, y: number): { col: number; row: number } {
  const share = (value: number, sizePx: number) =>
    Math.max(0, Math.min(CELLS - 1, Math.floor(CELLS * ((value * data.halfDiagonalPx) / sizePx + 0.5))));
  return { col: share(x, data.widthPx), row: share(y, data.heightPx) };
}

interface Point {
  position: number;
  hfdPx: number;
  weight: number;
}

/** Fits the run from several starts. */
export function fitFromStarts(data: FocusData, model: FocusModel, scale: Prior | null): FocusFit {
  const positions = model.positions;
  const span = Math.max(...positions) - Math.min(...positions);
  const whole = pointsOf(data, model, () => true);
  const guesses = scaleGuesses(whole, model, span, scale).map((lnScale) => ({
    lnScale,
    ...bestFocus(whole, model, lnScale, span),
  }));
  guesses.sort((p, q) => p.cost - q.cost);
  const starts: Float64Array[] = [];
  for (const { lnScale, focus, core } of guesses.slice(0, 2))
    for (const tilted of [true, false]) {
      const start = plainStart(positions.length);
      start[P.focus] = focus;
      start[P.lnScale] = lnScale;
      start[P.lnCore] = Math.log(core);
      if (tilted) leanStart(data, model, start, span);
      starts.push(start);
    }
  return fitFocus(model, data.samples, starts, span, scale);
}

/** Median size per frame of the stars that are `inside`. */
function pointsOf(data: FocusData, model: FocusModel, inside: (i: number) => boolean): Point[] {
  const { samples } = data;
  const lists = Array.from(model.positions, () => [] as number[]);
  for (let i = 0; i < samples.count; i++) if (inside(i)) lists[samples.frame[i]].push(samples.hfdPx[i]);
  return lists
    .map((sizes, f) => ({
      position: model.positions[f],
      hfdPx: median(sizes),
      weight: Math.min(sizes.length, 9),
    }))
    .filter(({ weight }) => weight > 0);
}

/** Scales (ln of law units per step) worth trying. */
function scaleGuesses(points: Point[], { law }: FocusModel, span: number, scale: Prior | null): number[] {
  if (scale && scale.sigma < 0.3) return [scale.value];
  const largest = Math.max(...points.map(({ hfdPx }) => hfdPx));
  const across = largest / law.slope;
  return [0.35, 0.6, 1, 1.5, 2.2, 3.2].map((times) => Math.log((times * across) / span));
}

/** Focus and core that fit the points with this scale, by a search over a grid that reaches half a run beyond the ends. */
function bestFocus(points: Point[], { law }: FocusModel, lnScale: number, span: number) {
  const first = Math.min(...points.map(({ position }) => position));
  const smallest = quantile(
    points.map(({ hfdPx }) => hfdPx),
    0,
  );
  let best = { focus: first, core: smallest, cost: Infinity };
  for (const part of [1, 0.85, 0.65]) {
    const core = law.coreFor(smallest * part);
    for (let k = 0; k < GRID; k++) {
      const focus = first + span * ((2 * k) / (GRID - 1) - 0.5);
      let cost = 0;
      for (const { position, hfdPx, weight } of points) {
        const off = Math.log(hfdPx / law.hfdPx((position - focus) * Math.exp(lnScale), core));
        cost += weight * Math.log1p((off / 0.1) ** 2);
      }
      if (cost < best.cost) best = { focus, core, cost };
    }
  }
  return best;
}

/** Best focus of each cell, and the plane through them, written into the start. */
function leanStart(data: FocusData, model: FocusModel, start: Float64Array, span: number): void {
  const { samples } = data;
  const rows: [number, number, number, number][] = [];
  for (let cell = 0; cell < CELLS * CELLS; cell++) {
    const inside = (i: number) => {
      const { col, row } = cellOf(data, samples.x[i], samples.y[i]);
      return col + CELLS * row === cell;
    };
    const points = pointsOf(data, model, inside);
    if (points.length < 3) continue;
    const { focus } = bestFocus(points, model, start[P.lnScale], span);
    const members = Array.from({ length: samples.count }, (_, i) => i).filter(inside);
    const mean = (column: Float64Array) => members.reduce((sum, i) => sum + column[i], 0) / members.length;
    rows.push([1, -mean(samples.x), -mean(samples.y), focus - start[P.focus]]);
  }
  // p = focus - tilt . place: three unknowns, a weak hold on the lean for cells in a line.
  const normal = new Float64Array(9);
  const right = new Float64Array(3);
  for (const row of rows)
    for (let k = 0; k < 3; k++) {
      right[k] += row[k] * row[3];
      for (let l = 0; l < 3; l++) normal[3 * k + l] += row[k] * row[l];
    }
  for (let k = 0; k < 3; k++) normal[4 * k] += 0.05;
  const plane = solveSymmetric(normal, right);
  if (!plane || rows.length < 3) return;
  start[P.focus] += plane[0];
  start[P.tiltX] = plane[1];
  start[P.tiltY] = plane[2];
}
