import type { Kernels } from '../wasm/kernels.ts';
import { fringePx } from './optics.ts';
import type { Optics } from './optics.ts';
import { annulus, pupilCoordinate } from './pupil.ts';
import { TERMS, wavesPerPixel } from './wavefront.ts';

/** How finely a star's image is computed. */
export interface PlanSpec {
  optics: Optics;
  /** Pixels a side of the stamp, odd. */
  sidePx: number;
  /** The image repeats after this many stamp sides: far wings of neighbours-by-repetition fall into the stamp. */
  periodSides: number;
  /** Highest spatial frequency carried, cycles per pixel. */
  maxFrequency: number;
}

/** Tables of one plan in the kernels' memory. */
export interface Plan {
  spec: PlanSpec;
  address: number;
  pupil: number;
  size: number;
  /** Frequencies are 0 .. freqs - 1 times `step` cycles per pixel along each axis. */
  freqs: number;
  freqStride: number;
  step: number;
  sideStride: number;
  /** Floats in one table of factors, [4: +re, +im, -re, -im][fy][fx]. */
  factorFloats: number;
  coefficients: number;
  wanted: number;
  factors: number;
  images: number;
}

/** Room for the images of one star: value and derivatives. */
export const MAX_IMAGES = 32;

const up4 = (n: number) => Math.ceil(n / 4) * 4;

/** Factors 4, 2, 3, 5 of n in the order of the transform's passes; null when another prime divides it. */
export function radicesOf(n: number): number[] | null {
  const radices: number[] = [];
  for (const radix of [5, 3, 4, 2])
    while (n % radix === 0) {
      radices.push(radix);
      n /= radix;
    }
  return n === 1 ? radices : null;
}

const smoothAtLeast = (n: number): number => {
  while (!radicesOf(n)) n++;
  return n;
};

/**
 * Lays out a plan. The pupil gets as many samples as make its shift by one sample equal to the step of the
 * frequencies, so that every transfer value is an exact autocorrelation; the transform is just large enough that no
 * alias reaches the frequencies used.
 */
export function makePlan({ run, arena }: Kernels, spec: PlanSpec): Plan {
  const fringe = fringePx(spec.optics);
  const pupil = Math.max(28, Math.ceil((spec.periodSides * spec.sidePx) / fringe));
  const step = 1 / (pupil * fringe);
  const cut = 1 / fringe;
  const highest = Math.min(spec.maxFrequency, cut);
  const freqs = Math.ceil(highest / step) + 1;
  const size = smoothAtLeast(Math.max(pupil, Math.ceil(pupil + freqs)));
  const pupilStride = up4(pupil);
  const sizeStride = up4(size);
  const freqStride = up4(freqs);
  const side = spec.sidePx;
  const sideStride = up4(side);
  const half = (side + 1) / 2;
  const halfStride = up4(half);

  const floats = (count: number) => arena.alloc(4 * count);
  const radices = radicesOf(size)!;
  const address = arena.alloc(4 * 32);
  const at = {
    amplitude: floats(pupil * pupilStride),
    terms: floats(TERMS.length * pupil * pupilStride),
    radices: floats(radices.length + 1),
    cosines: floats(size),
    sines: floats(size),
    imageCos: floats((size / 2 + 1) * freqStride),
    imageSin: floats((size / 2 + 1) * freqStride),
    pixelCos: floats(freqs * halfStride),
    pixelSin: floats(freqs * halfStride),
    fieldRe: floats(pupil * pupilStride),
    fieldIm: floats(pupil * pupilStride),
    turnedRe: floats(pupilStride * sizeStride),
    turnedIm: floats(pupilStride * sizeStride),
    waveRe: floats(size * sizeStride),
    waveIm: floats(size * sizeStride),
    intensity: floats(size * sizeStride),
    columns: floats(16 * size + 32),
    rowCos: floats(freqs * sizeStride),
    rowSin: floats(freqs * sizeStride),
    transfers: floats((TERMS.length + 1) * 4 * freqs * freqStride),
    product: floats(4 * freqs * freqStride),
    lines: floats(4 * freqs * halfStride),
  };
  const factorFloats = 4 * freqs * freqStride;
  const coefficients = floats(TERMS.length);
  const wanted = floats(TERMS.length);
  const factors = floats(MAX_IMAGES * factorFloats);
  const images = floats(MAX_IMAGES * side * sideStride);

  const memory = run.memory.buffer;
  new Int32Array(memory, address, 32).set([
    pupil,
    pupilStride,
    size,
    sizeStride,
    freqs,
    freqStride,
    side,
    sideStride,
    half,
    halfStride,
    ...Object.values(at),
  ]);
  arena.i32(at.radices, radices.length + 1).set([...radices, 0]);
  const turn = (2 * Math.PI) / size;
  arena.f32(at.cosines, size).set(Float32Array.from({ length: size }, (_, t) => Math.cos(t * turn)));
  arena.f32(at.sines, size).set(Float32Array.from({ length: size }, (_, t) => -Math.sin(t * turn)));
  fillPupil(arena.f32(at.amplitude, pupil * pupilStride), pupil, pupilStride, size, spec.optics);
  TERMS.forEach((term, index) => {
    const table = arena.f32(at.terms + 4 * index * pupil * pupilStride, pupil * pupilStride).fill(0);
    for (let i = 0; i < pupil; i++)
      for (let j = 0; j < pupil; j++)
        table[i * pupilStride + j] = wavesPerPixel(
          term,
          pupilCoordinate(i, pupil),
          pupilCoordinate(j, pupil),
          spec.optics,
        );
  });
  // Image sample k lies at k fringe pupil / size pixels; frequency f is f step: the angle is 2 pi k f / size.
  fillTable(arena, at.imageCos, at.imageSin, Math.floor(size / 2) + 1, freqs, freqStride, turn);
  fillTable(arena, at.pixelCos, at.pixelSin, freqs, half, halfStride, 2 * Math.PI * step);
  return {
    spec,
    address,
    pupil,
    size,
    freqs,
    freqStride,
    step,
    sideStride,
    factorFloats,
    coefficients,
    wanted,
    factors,
    images,
  };
}

/** Amplitudes whose image sums to 1 over the transform's samples (Parseval). */
function fillPupil(table: Float32Array, pupil: number, stride: number, size: number, optics: Optics): void {
  const share = annulus(pupil, optics.obstruction);
  let power = 0;
  for (const value of share) power += value * value;
  const scale = 1 / (size * Math.sqrt(power));
  table.fill(0);
  for (let i = 0; i < pupil; i++)
    for (let j = 0; j < pupil; j++) table[i * stride + j] = share[i * pupil + j] * scale;
}

function fillTable(
  arena: Kernels['arena'],
  cosAddress: number,
  sinAddress: number,
  rows: number,
  columns: number,
  stride: number,
  angle: number,
): void {
  const cosines = arena.f32(cosAddress, rows * stride).fill(0);
  const sines = arena.f32(sinAddress, rows * stride).fill(0);
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++) {
      cosines[row * stride + column] = Math.cos(angle * row * column);
      sines[row * stride + column] = Math.sin(angle * row * column);
    }
}
