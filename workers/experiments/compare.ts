import { lnGauss, lnMix } from './bayes.ts';
import type { CellEvidence, Evidence } from './evidence.ts';

/** Shapes of one telescope repeat from frame to frame to about this part, whatever the errors of the means say. */
const REPEATS = 0.12;
/** Cells share what the model leaves out: nine of them count as this many. */
const INDEPENDENT_CELLS = 4;

/** Cells that both frames have. */
export function commonCells(a: Evidence, b: Evidence): [CellEvidence, CellEvidence][] {
  return a.cells.flatMap((cell) => {
    const other = b.cells.find(({ u, v }) => Math.abs(u - cell.u) < 0.01 && Math.abs(v - cell.v) < 0.01);
    return other ? [[cell, other] as [CellEvidence, CellEvidence]] : [];
  });
}

/** Sum over the cells, counted as so many as are independent. */
export function overCells(
  pairs: readonly [CellEvidence, CellEvidence][],
  ln: (a: CellEvidence, b: CellEvidence) => number,
): number {
  if (pairs.length === 0) return 0;
  const sum = pairs.reduce((total, [a, b]) => total + ln(a, b), 0);
  return (sum * Math.min(pairs.length, INDEPENDENT_CELLS)) / pairs.length;
}

/** ln likelihood of the second frame's lengths when they are `factor` times the first's, turned by `turnDeg`. */
export function lnLengths(a: Evidence, b: Evidence, factor: number, turnDeg = 0): number {
  const turn = (2 * turnDeg * Math.PI) / 180;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  return overCells(commonCells(a, b), (p, q) => {
    const [x, y] = [factor * (c * p.q1.value - s * p.q2.value), factor * (s * p.q1.value + c * p.q2.value)];
    const loose =
      (REPEATS * Math.hypot(p.q1.value, p.q2.value) * Math.max(1, factor)) ** 2 + (0.02 * q.width.value) ** 2;
    return (
      lnGauss(q.q1.value - x, q.q1.variance + factor ** 2 * p.q1.variance + loose) +
      lnGauss(q.q2.value - y, q.q2.variance + factor ** 2 * p.q2.variance + loose)
    );
  });
}

/** ... when the second frame's length has nothing to do with the first's, but for its usual size: all stars alike. */
export function lnAnyLength(a: Evidence, b: Evidence): number {
  const usual = Math.hypot(a.q1.value, a.q2.value) ** 2 + a.q1.variance;
  const own = (0.02 * b.width.value) ** 2;
  const ln =
    lnGauss(b.q1.value, b.q1.variance + own + usual / 2) +
    lnGauss(b.q2.value, b.q2.variance + own + usual / 2);
  const cells = Math.min(commonCells(a, b).length, INDEPENDENT_CELLS);
  // One draw for the whole frame; that the cells then agree with it is foretold as well as by any other cause.
  const agreeing = overCells(commonCells(a, b), (_, q) => {
    const loose = (REPEATS * Math.hypot(b.q1.value, b.q2.value)) ** 2 + own;
    return (
      lnGauss(q.q1.value - b.q1.value, q.q1.variance + loose) +
      lnGauss(q.q2.value - b.q2.value, q.q2.variance + loose)
    );
  });
  return cells > 0 ? ln + (agreeing * (cells - 1)) / cells : ln;
}

/** ln likelihood of the second frame's width when it is the first's, with this relative change from frame to frame. */
export const lnWidth = (a: Evidence, b: Evidence, change: number): number =>
  lnGauss(
    b.width.value - a.width.value,
    a.width.variance + b.width.variance + (2 * change * a.width.value) ** 2,
  );

/** A trail that is steady (its quadrupole grows with the square of the exposure) or not. */
export const lnTrail = (a: Evidence, b: Evidence, factor: number, steady: number): number =>
  lnMix([
    [steady, lnLengths(a, b, factor)],
    [1 - steady, lnAnyLength(a, b)],
  ]);

/** Rise of the width over the field, px² per half-diagonal along x and y, by least squares over the cells. */
export function widthSlope({ cells, report }: Evidence): { x: number; y: number; variance: number } | null {
  const { widthPx, heightPx } = report.frame!;
  const half = Math.hypot(widthPx, heightPx);
  if (cells.length < 5) return null;
  const places = cells.map((cell) => ({
    x: (cell.u * widthPx) / half,
    y: (cell.v * heightPx) / half,
    w: cell.width,
  }));
  const mean = (pick: (p: (typeof places)[number]) => number) =>
    places.reduce((sum, p) => sum + pick(p), 0) / places.length;
  const [mx, my, mw] = [mean((p) => p.x), mean((p) => p.y), mean((p) => p.w.value)];
  let [xx, xy, yy, xw, yw] = [0, 0, 0, 0, 0];
  for (const { x, y, w } of places) {
    xx += (x - mx) ** 2;
    yy += (y - my) ** 2;
    xy += (x - mx) * (y - my);
    xw += (x - mx) * (w.value - mw);
    yw += (y - my) * (w.value - mw);
  }
  const det = xx * yy - xy * xy;
  if (!(det > 0)) return null;
  const [x, y] = [(yy * xw - xy * yw) / det, (xx * yw - xy * xw) / det];
  const own = mean((p) => p.w.variance) + (0.02 * mw) ** 2;
  return { x, y, variance: (own * (xx + yy)) / (2 * det) };
}
