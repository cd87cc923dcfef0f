/** Widths of a noise-free picture of one star on a fine square grid: the truth that measurements are held against. */
export interface Grid {
  /** Row by row, `side` x `side` samples. */
  values: Float64Array;
  side: number;
  /** Distance of neighbouring samples, in pixels. */
  stepPx: number;
}

/**
 * Diameter 2 sqrt(A / pi) of the circle with the area A inside the half-peak contour. The contour runs through the
 * triangles of the grid with linear interpolation, so its error falls with the square of the step. The peak is the
 * vertex of the parabolas through the highest sample.
 */
export function halfPeakFwhmPx(grid: Grid): number {
  const { values, side, stepPx } = grid;
  const half = peakValue(grid) / 2;
  let area = 0;
  for (let y = 0; y + 1 < side; y++) {
    for (let x = 0; x + 1 < side; x++) {
      const i = y * side + x;
      const a = values[i] - half;
      const b = values[i + 1] - half;
      const c = values[i + side] - half;
      const d = values[i + side + 1] - half;
      area += triangleAbove(a, b, d) + triangleAbove(a, c, d);
    }
  }
  return 2 * Math.sqrt(area / Math.PI) * stepPx;
}

/** Value at the top: the highest sample, raised by the parabola through its neighbours in x and in y. */
export function peakValue({ values, side }: Grid): number {
  let best = 0;
  for (let i = 1; i < values.length; i++) if (values[i] > values[best]) best = i;
  const x = best % side;
  if (x === 0 || x === side - 1 || best < side || best >= side * (side - 1)) return values[best];
  const rise = (before: number, after: number) => {
    const curvature = before + after - 2 * values[best];
    return curvature < 0 ? -((after - before) ** 2) / (8 * curvature) : 0;
  };
  return (
    values[best] + rise(values[best - 1], values[best + 1]) + rise(values[best - side], values[best + side])
  );
}

/** Area of the part of a right triangle of legs 1 where a linear function with these corner values is positive. */
function triangleAbove(a: number, b: number, c: number): number {
  const positive = (a > 0 ? 1 : 0) + (b > 0 ? 1 : 0) + (c > 0 ? 1 : 0);
  if (positive === 0) return 0;
  if (positive === 3) return 0.5;
  // The odd one out is the only corner of its sign; the contour cuts off a similar triangle at it.
  const odd = (v: number) => (positive === 1 ? v > 0 : v <= 0);
  const [o, p, q] = odd(a) ? [a, b, c] : odd(b) ? [b, a, c] : [c, a, b];
  const cut = (0.5 * (o / (o - p)) * o) / (o - q);
  return positive === 1 ? cut : 0.5 - cut;
}

/**
 * Diameter of the circle about the centroid that holds half of the flux. `totalFlux` is the sum over all of the plane
 * in units of the samples (their integral divided by the square of the step): the grid need not hold the wings.
 * Samples are taken as small squares whose light lies at their centre.
 */
export function halfFluxDiameterPx({ values, side, stepPx }: Grid, totalFlux: number): number {
  let sum = 0;
  let sumX = 0;
  let sumY = 0;
  for (let i = 0; i < values.length; i++) {
    sum += values[i];
    sumX += values[i] * (i % side);
    sumY += values[i] * Math.floor(i / side);
  }
  const cx = sumX / sum;
  const cy = sumY / sum;
  const perStep = 8;
  const rings = new Float64Array(perStep * Math.ceil(side * Math.SQRT2) + 2);
  for (let i = 0; i < values.length; i++) {
    const r = Math.hypot((i % side) - cx, Math.floor(i / side) - cy);
    rings[Math.floor(r * perStep)] += values[i];
  }
  let inside = 0;
  for (let k = 0; k < rings.length; k++) {
    if (inside + rings[k] >= totalFlux / 2) {
      const within = (totalFlux / 2 - inside) / rings[k];
      return (2 * (k + within) * stepPx) / perStep;
    }
    inside += rings[k];
  }
  throw new Error('the grid holds less than half of the flux: make it larger');
}
