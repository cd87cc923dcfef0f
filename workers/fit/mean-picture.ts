import { PICTURE_SAMPLES_PER_PX, type ModelPicture, type PictureRequest } from '../protocol/model.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { drawnWithout, fieldPlace } from './drawn-field.ts';
import type { FieldFit } from './field-fit.ts';
import { measureModel } from './model-frame.ts';
import { modelPictures } from './model-picture.ts';
import { fwhmOfPicture } from './model-width.ts';

const FINE = PICTURE_SAMPLES_PER_PX;
/** Half side of the softest kernel below, in samples. */
const SOFT_REACH = FINE;

/**
 * The model's stars as a measured mean star would show them: at each place the star through the pixel, laid over the
 * others of its picture by their centres, softened as the averaging of real pixels softens (see regions/mean-star.ts).
 */
export function meanPictures(kernels: Kernels, fit: FieldFit, request: PictureRequest): ModelPicture[] {
  const field = drawnWithout(fit, request.without);
  const places = request.places.map((set) => set.map((place) => fieldPlace(fit, place)));
  const reachPx = (request.side - 1) / 2 / FINE + 2;
  const all = places.flat();
  const centres = measureModel(kernels, fit, field, all, Math.ceil(Math.sqrt(all.length)));
  const pictures = modelPictures(kernels, fit.optics, reachPx, FINE);
  const soft = softening();
  const half = (request.side - 1) / 2;
  let index = 0;
  const drawn = places.map((set): ModelPicture => {
    const sum = new Float64Array(pictures.side ** 2);
    let fwhmPx = 0;
    let hfdPx = 0;
    for (const place of set) {
      const centre = centres[index++];
      const star = pictures.draw(field, {
        ...place,
        dxPx: -(centre?.xPx ?? 0),
        dyPx: -(centre?.yPx ?? 0),
      });
      fwhmPx += fwhmOfPicture(star, pictures.side, FINE) / set.length;
      hfdPx += (centre?.hfdPx ?? NaN) / set.length;
      star.forEach((value, i) => (sum[i] += value));
    }
    const smooth = blurred(sum, pictures.side, soft);
    const values = new Float32Array(request.side ** 2);
    let peak = 0;
    for (let y = 0; y < request.side; y++)
      for (let x = 0; x < request.side; x++) {
        const at = (pictures.middle - half + y) * pictures.side + pictures.middle - half + x;
        values[y * request.side + x] = smooth[at];
        peak = Math.max(peak, smooth[at]);
      }
    if (peak > 0) values.forEach((value, i) => (values[i] = value / peak));
    return { side: request.side, samplesPerPx: FINE, values, fwhmPx, hfdPx };
  });
  pictures.close();
  return drawn;
}

/**
 * A mean star spreads each pixel by a triangle of one pixel to either side. Over samples that is a sum of the narrow
 * triangles of linear interpolation, and of those the second moment (1/6) is enough.
 */
function softening(): Float64Array {
  const narrow = [1 / 12, 10 / 12, 1 / 12];
  const out = new Float64Array(2 * SOFT_REACH + 1);
  for (let k = 1 - FINE; k < FINE; k++)
    for (let n = -1; n <= 1; n++)
      out[SOFT_REACH + k + n] += ((1 - Math.abs(k) / FINE) / FINE) * narrow[n + 1];
  return out;
}

/** Convolved with a separable kernel; light beyond the border is nothing. */
function blurred(values: Float64Array, side: number, kernel: Float64Array): Float64Array {
  const along = (from: Float64Array, step: number, line: number) => {
    const to = new Float64Array(from.length);
    for (let a = 0; a < side; a++)
      for (let b = 0; b < side; b++) {
        let sum = 0;
        for (let k = Math.max(-SOFT_REACH, -b); k <= Math.min(SOFT_REACH, side - 1 - b); k++)
          sum += kernel[SOFT_REACH + k] * from[a * line + (b + k) * step];
        to[a * line + b * step] = sum;
      }
    return to;
  };
  return along(along(values, 1, side), side, 1);
}
