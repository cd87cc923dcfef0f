/** A square of complex numbers, row by row; the side a power of two. */
export interface Waves {
  side: number;
  re: Float64Array;
  im: Float64Array;
}

export const still = (side: number): Waves => ({
  side,
  re: new Float64Array(side * side),
  im: new Float64Array(side * side),
});

/** Discrete Fourier transform in place over both directions, exp(-i) forward and exp(+i)/n² back (Cooley & Tukey 1965). */
export function transform({ side, re, im }: Waves, back = false): void {
  const lineRe = new Float64Array(side);
  const lineIm = new Float64Array(side);
  const run = (from: number, step: number) => {
    for (let i = 0; i < side; i++) {
      lineRe[i] = re[from + i * step];
      lineIm[i] = im[from + i * step];
    }
    transformLine(lineRe, lineIm, back);
    for (let i = 0; i < side; i++) {
      re[from + i * step] = lineRe[i];
      im[from + i * step] = lineIm[i];
    }
  };
  for (let row = 0; row < side; row++) run(row * side, 1);
  for (let col = 0; col < side; col++) run(col, side);
  if (!back) return;
  for (let i = 0; i < re.length; i++) {
    re[i] /= side * side;
    im[i] /= side * side;
  }
}

function transformLine(re: Float64Array, im: Float64Array, back: boolean): void {
  const n = re.length;
  for (let i = 1, j = 0; i < n; i++) {
    let bit = n >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i >= j) continue;
    [re[i], re[j]] = [re[j], re[i]];
    [im[i], im[j]] = [im[j], im[i]];
  }
  for (let size = 2; size <= n; size *= 2) {
    const half = size / 2;
    const step = ((back ? 2 : -2) * Math.PI) / size;
    for (let k = 0; k < half; k++) {
      const c = Math.cos(step * k);
      const s = Math.sin(step * k);
      for (let a = k; a < n; a += size) {
        const b = a + half;
        const tr = re[b] * c - im[b] * s;
        const ti = re[b] * s + im[b] * c;
        re[b] = re[a] - tr;
        im[b] = im[a] - ti;
        re[a] += tr;
        im[a] += ti;
      }
    }
  }
}
