/**
 * A slow, plain star image in double precision, written apart from the kernels: the pupil's autocorrelation is summed
 * directly at the frequencies of a long Fourier series, no fast transform, no folding.
 */
export interface OracleStar {
  focalRatio: number;
  pixelUm: number;
  obstruction: number;
  wavelengthUm: number;
  /** Optical path difference in micrometres over the pupil. */
  wavefrontUm: (u: number, v: number) => number;
  /** Transfer function of everything else, [re, im], at (fx, fy) in cycles per pixel (pixel and air included). */
  others: (fx: number, fy: number) => [number, number];
  sidePx: number;
  dxPx: number;
  dyPx: number;
  /** Pupil samples across the diameter: sets the period of the image to samples * lambda F. */
  samples: number;
  maxFrequency: number;
}

/** Unit-flux image, row-major. */
export function oracleImage(star: OracleStar): Float64Array {
  const n = star.samples;
  const fringe = (star.wavelengthUm * star.focalRatio) / star.pixelUm;
  const re = new Float64Array(n * n);
  const im = new Float64Array(n * n);
  const fine = 32;
  let power = 0;
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++) {
      let inside = 0;
      for (let s = 0; s < fine; s++)
        for (let t = 0; t < fine; t++) {
          const r = Math.hypot(((i + (s + 0.5) / fine) * 2) / n - 1, ((j + (t + 0.5) / fine) * 2) / n - 1);
          if (r <= 1 && r >= star.obstruction) inside++;
        }
      const amplitude = inside / fine ** 2;
      const phase =
        (2 * Math.PI * star.wavefrontUm(((i + 0.5) * 2) / n - 1, ((j + 0.5) * 2) / n - 1)) /
        star.wavelengthUm;
      re[i * n + j] = amplitude * Math.cos(phase);
      im[i * n + j] = amplitude * Math.sin(phase);
      power += amplitude * amplitude;
    }
  const step = 1 / (n * fringe);
  const last = Math.min(n - 1, Math.ceil(Math.min(star.maxFrequency, 1 / fringe) / step));
  const side = star.sidePx;
  const middle = (side - 1) / 2;
  const image = new Float64Array(side * side);
  for (let a = -last; a <= last; a++)
    for (let b = -last; b <= last; b++) {
      // Wave(x) = sum E exp(-2 pi i u x), so the transfer function is sum E(u) conj E(u + f).
      let sumRe = 0;
      let sumIm = 0;
      for (let i = Math.max(0, -a); i < Math.min(n, n - a); i++)
        for (let j = Math.max(0, -b); j < Math.min(n, n - b); j++) {
          const p = i * n + j;
          const q = (i + a) * n + j + b;
          sumRe += re[p] * re[q] + im[p] * im[q];
          sumIm += im[p] * re[q] - re[p] * im[q];
        }
      const fx = a * step;
      const fy = b * step;
      const [kr, ki] = star.others(fx, fy);
      const gr = (sumRe * kr - sumIm * ki) / power;
      const gi = (sumRe * ki + sumIm * kr) / power;
      for (let y = 0; y < side; y++)
        for (let x = 0; x < side; x++) {
          const angle = 2 * Math.PI * (fx * (x - middle - star.dxPx) + fy * (y - middle - star.dyPx));
          image[y * side + x] += step * step * (gr * Math.cos(angle) - gi * Math.sin(angle));
        }
    }
  return image;
}
