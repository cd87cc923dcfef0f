import { createRandom } from '../../workers/simulate/random.ts';
import type { Picture } from './planes.ts';

export interface NoisePicture {
  widthPx: number;
  heightPx: number;
  kind: 'u16' | 'f32';
  seed: number;
  /** Gaussian noise about a slope: level at the first pixel, rise over the width and the height. */
  level?: number;
  riseX?: number;
  riseY?: number;
  sigma?: number;
  /** Gaussian stars of rms `starSigma`. */
  stars?: number;
  starSigma?: number;
  /** Single bright pixels, and (f32 only) pixels without value. */
  hot?: number;
  holes?: number;
}

/** A seeded picture with all that kernels meet: slope, noise, stars, hot pixels, pixels without value. */
export function noisePicture(wish: NoisePicture): Picture {
  const { widthPx, heightPx, kind, level = 800, riseX = 60, riseY = -40, sigma = 12 } = wish;
  const random = createRandom(wish.seed);
  const values = new Float64Array(widthPx * heightPx);
  for (let y = 0, i = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++, i++)
      values[i] = level + (riseX * x) / widthPx + (riseY * y) / heightPx + sigma * random.normal();
  const starSigma = wish.starSigma ?? 1.3;
  for (let n = 0; n < (wish.stars ?? 0); n++) {
    const x0 = random.uniform() * widthPx;
    const y0 = random.uniform() * heightPx;
    const peak = sigma * 4 * 10 ** (2 * random.uniform());
    const reach = Math.ceil(6 * starSigma);
    for (let y = Math.max(0, Math.ceil(y0 - reach)); y < Math.min(heightPx, y0 + reach); y++)
      for (let x = Math.max(0, Math.ceil(x0 - reach)); x < Math.min(widthPx, x0 + reach); x++)
        values[y * widthPx + x] += peak * Math.exp((-0.5 * ((x - x0) ** 2 + (y - y0) ** 2)) / starSigma ** 2);
  }
  for (let n = 0; n < (wish.hot ?? 0); n++)
    values[random.integer(values.length)] += sigma * (9 + 200 * random.uniform());
  for (let n = 0; n < (wish.holes ?? 0); n++) values[random.integer(values.length)] = NaN;
  const pixels =
    kind === 'u16'
      ? Uint16Array.from(values, (value) => Math.max(0, Math.min(65535, Math.round(value))))
      : Float32Array.from(values);
  return { pixels, widthPx, heightPx };
}
