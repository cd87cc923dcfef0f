/**
 * Diameter 2 sqrt(A / pi) of the circle with the area A where a picture exceeds half of its peak. `values` is a square
 * of `side` x `side` samples `stepPx` apart. The level set is cut linearly through the two triangles of every mesh
 * cell; the peak is the vertex of a parabola through the highest sample and its neighbours in each direction.
 * NaN when the picture has no peak inside.
 */
export function halfPeakDiameterPx(values: ArrayLike<number>, side: number, stepPx: number): number {
  let top = -1;
  for (let row = 1; row + 1 < side; row++)
    for (let col = 1; col + 1 < side; col++) {
      const i = row * side + col;
      if (top < 0 || values[i] > values[top]) top = i;
    }
  if (top < 0 || !(values[top] > 0)) return NaN;
  const half = (values[top] + rise(values, top, 1) + rise(values, top, side)) / 2;
  let cells = 0;
  for (let row = 0; row + 1 < side; row++)
    for (let col = 0; col + 1 < side; col++) {
      const i = row * side + col;
      const a = values[i] - half;
      const b = values[i + 1] - half;
      const c = values[i + side] - half;
      const d = values[i + side + 1] - half;
      const positive = (a > 0 ? 1 : 0) + (b > 0 ? 1 : 0) + (c > 0 ? 1 : 0) + (d > 0 ? 1 : 0);
      if (positive === 4) cells += 2;
      else if (positive > 0) cells += shareAbove(a, b, d) + shareAbove(a, c, d);
    }
  return 2 * Math.sqrt((cells / 2) * (stepPx ** 2 / Math.PI));
}

/** How much the vertex of the parabola through three samples lies above the middle one. */
function rise(values: ArrayLike<number>, middle: number, stride: number): number {
  const left = values[middle - stride];
  const right = values[middle + stride];
  const bend = left + right - 2 * values[middle];
  return bend < 0 ? -((right - left) ** 2) / (8 * bend) : 0;
}

/** Share of a triangle where the linear function with these corner values is positive. */
function shareAbove(a: number, b: number, c: number): number {
  const positive = (a > 0 ? 1 : 0) + (b > 0 ? 1 : 0) + (c > 0 ? 1 : 0);
  if (positive === 0) return 0;
  if (positive === 3) return 1;
  // The corner that stands alone cuts off a similar corner triangle.
  const alone = positive === 1 ? Math.max(a, b, c) : Math.min(a, b, c);
  const [p, q] = [a, b, c].filter((value) => value !== alone);
  const corner = (alone / (alone - p)) * (alone / (alone - (q ?? p)));
  return positive === 1 ? corner : 1 - corner;
}
