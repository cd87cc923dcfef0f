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
export function overCells<T>(pairs: readonly T[], ln: (pair: T) => number): number {
  if (pairs.length === 0) return 0;
  const sum = pairs.reduce((total, pair) => total + ln(pair), 0);
  return (sum * Math.min(pairs.length, INDEPENDENT_CELLS)) / pairs.length;
}

/**
 * ln likelihood of the second frame's lengths when their mean is `factor` times the first's. How the cells differ from the
 * mean is the optics' doing under every cause and stays, unless `pattern` says by what it is multiplied: a trail adds the
 * same everywhere.
 */
export function lnLengths(a: Evidence, b: Evidence, factor: number, pattern = 1): number {
  const [x, y] = [factor * a.q1.value, factor * a.q2.value];
  const loose = (REPEATS * Math.hypot(x, y)) ** 2 + floorOf(b);
  return (
    lnGauss(b.q1.value - x, b.q1.variance + factor ** 2 * a.q1.variance + loose) +
    lnGauss(b.q2.value - y, b.q2.variance + factor ** 2 * a.q2.variance + loose) +
    lnPattern(a, b, pattern)
  );
}

/** ... when the second frame's length has nothing to do with the first's, but for its usual size: all stars alike. */
export function lnAnyLength(a: Evidence, b: Evidence): number {
  const usual = (a.q1.value ** 2 + a.q2.value ** 2 + a.q1.variance + a.q2.variance) / 2;
  return (
    lnGauss(b.q1.value, b.q1.variance + floorOf(b) + usual) +
    lnGauss(b.q2.value, b.q2.variance + floorOf(b) + usual) +
    lnPattern(a, b, 1)
  );
}

/** Every frame is long by a twentieth in a way of its own: a breath of wind, the drive, the air (common practice, no source). */
const floorOf = ({ width }: { width: { value: number } }): number => (0.05 * width.value) ** 2;

/** The cells' differences from the frame's mean, in both frames. */
function lnPattern(a: Evidence, b: Evidence, factor: number): number {
  const pairs = commonCells(a, b);
  const ln = overCells(pairs, ([p, q]) => {
    const one = (axis: 'q1' | 'q2') => {
      const before = p[axis].value - a[axis].value;
      const loose = (REPEATS * factor * before) ** 2 + floorOf(q);
      return lnGauss(
        q[axis].value - b[axis].value - factor * before,
        q[axis].variance + factor ** 2 * p[axis].variance + loose,
      );
    };
    return one('q1') + one('q2');
  });
  // The mean is one of the cells' numbers.
  return pairs.length > 1 ? (ln * (pairs.length - 1)) / pairs.length : 0;
}

/** ln likelihood of the second frame's width when it is the first's, with this relative change from frame to frame. */
export const lnWidth = (a: Evidence, b: Evidence, change: number): number =>
  lnGauss(
    b.width.value - a.width.value,
    a.width.variance + b.width.variance + (2 * change * a.width.value) ** 2,
  );

/** Trails of several frames: a steady one in all of them, its quadrupole times `factor` each, or none that stays. */
export const lnTrails = (
  a: Evidence,
  after: readonly Evidence[],
  factor: (b: Evidence) => number,
  steady: number,
): number =>
  lnMix([
    [steady, after.reduce((sum, b) => sum + lnLengths(a, b, factor(b)), 0)],
    [1 - steady, after.reduce((sum, b) => sum + lnAnyLength(a, b), 0)],
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
