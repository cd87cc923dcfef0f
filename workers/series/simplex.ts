/**
 * Least value of a function of a few variables by the simplex of Nelder & Mead (1965), Computer Journal 7, 308.
 * `steps` are the first displacements.
 */
export function simplexMinimum(
  f: (x: number[]) => number,
  start: number[],
  steps: number[],
  evaluations: number,
): { x: number[]; value: number } {
  const n = start.length;
  const points = [start, ...steps.map((step, i) => start.map((v, j) => (i === j ? v + step : v)))].map(
    (x) => ({ x, value: f(x) }),
  );
  let used = n + 1;
  while (used < evaluations) {
    points.sort((p, q) => p.value - q.value);
    const worst = points[n];
    if (worst.value - points[0].value < 1e-4) break;
    const centre = start.map((_, j) => points.slice(0, n).reduce((sum, p) => sum + p.x[j], 0) / n);
    const along = (factor: number) => {
      const x = centre.map((c, j) => c + factor * (worst.x[j] - c));
      used++;
      return { x, value: f(x) };
    };
    let next = along(-1);
    if (next.value < points[0].value) {
      const farther = along(-2);
      if (farther.value < next.value) next = farther;
    } else if (next.value >= points[n - 1].value) next = along(next.value < worst.value ? -0.5 : 0.5);
    if (next.value < worst.value) points[n] = next;
    else
      for (let i = 1; i <= n; i++) {
        const x = points[i].x.map((v, j) => (v + points[0].x[j]) / 2);
        points[i] = { x, value: f(x) };
        used++;
      }
  }
  return points.reduce((best, p) => (p.value < best.value ? p : best));
}
