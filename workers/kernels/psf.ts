import { fftColumns } from './fft';

// The image of one star and its derivatives. Three steps, each over tables that workers/fit/plan.ts lays out:
// pupil field -> transfer function (one per wavefront term), times factors made outside -> pixels.
// The transfer function is taken at multiples of one pupil sample's shift, where the discrete autocorrelation is
// exact: wings of the diffraction pattern cannot be cut off.

/** Where the tables of a plan lie. All arrays are f32; lengths in workers/fit/plan.ts. */
@unmanaged
class PsfPlan {
  pupil: i32; // samples across the pupil's diameter
  pupilStride: i32; // the same, rounded up to 4
  size: i32; // samples a side of the transform
  sizeStride: i32;
  freqs: i32; // frequencies 0 .. freqs - 1 along each axis
  freqStride: i32;
  side: i32; // pixels a side of the stamp, odd
  sideStride: i32;
  half: i32; // (side + 1) / 2
  halfStride: i32;
  amplitude: usize; // [u][v], zero outside the pupil
  terms: usize; // [term][u][v], waves per unit of the coefficient
  radices: usize;
  cosines: usize;
  sines: usize;
  imageCos: usize; // [k <= size / 2][freq]
  imageSin: usize;
  pixelCos: usize; // [freq][pixel offset >= 0]
  pixelSin: usize;
  fieldRe: usize; // [u][v]
  fieldIm: usize;
  turnedRe: usize; // [v][ku]
  turnedIm: usize;
  waveRe: usize; // [kv][ku]
  waveIm: usize;
  intensity: usize; // [kv][ku]
  columns: usize; // 4 * size v128
  rowCos: usize; // [freq][ku]
  rowSin: usize;
  transfers: usize; // [source][4: +re, +im, -re, -im][fy][fx]
  product: usize; // [4][fy][fx]
  lines: usize; // [2: re, im][fy][x]
}

const TWO_PI: f32 = 6.28318530718;

/**
 * Transfer functions of the pupil with the wavefront sum_j coefficients[j] terms[j]: source 0 is the transfer
 * function itself, source 1 + i its derivative with respect to coefficients[wanted[i]].
 * `coefficients`: f32 [termCount]; `wanted`: i32 [wantedCount].
 */
export function psfTransfers(address: usize, coefficients: usize, termCount: i32, wanted: usize, wantedCount: i32): void {
  const plan = changetype<PsfPlan>(address);
  const cells = <usize>(plan.pupil * plan.pupilStride) << 2;
  fillField(plan, coefficients, termCount, cells);
  transform(plan, 0, true);
  toFrequencies(plan, plan.transfers);
  const block = <usize>(4 * plan.freqs * plan.freqStride) << 2;
  for (let i = 0; i < wantedCount; i++) {
    const term = plan.terms + <usize>load<i32>(wanted + ((<usize>i) << 2)) * cells;
    transform(plan, term, false);
    toFrequencies(plan, plan.transfers + <usize>(i + 1) * block);
  }
}

/** sin and cos of 2 pi t for any t, to 3e-7: from half the angle, whose series converge within a quarter turn. */
function fillField(plan: PsfPlan, coefficients: usize, termCount: i32, cells: usize): void {
  const terms = plan.terms;
  for (let at: usize = 0; at < cells; at += 16) {
    const amplitude = v128.load(plan.amplitude + at);
    let waves = f32x4.splat(0);
    for (let j = 0; j < termCount; j++) {
      const value = v128.load(terms + <usize>j * cells + at);
      waves = f32x4.add(waves, f32x4.mul(value, v128.load32_splat(coefficients + ((<usize>j) << 2))));
    }
    const turn = f32x4.mul(f32x4.sub(waves, f32x4.nearest(waves)), f32x4.splat(3.14159265359));
    const x2 = f32x4.mul(turn, turn);
    let sine = f32x4.splat(-2.50521084e-8);
    sine = f32x4.add(f32x4.mul(sine, x2), f32x4.splat(2.75573192e-6));
    sine = f32x4.add(f32x4.mul(sine, x2), f32x4.splat(-1.98412698e-4));
    sine = f32x4.add(f32x4.mul(sine, x2), f32x4.splat(8.33333333e-3));
    sine = f32x4.add(f32x4.mul(sine, x2), f32x4.splat(-1.66666667e-1));
    sine = f32x4.mul(f32x4.add(f32x4.mul(sine, x2), f32x4.splat(1)), turn);
    let cosine = f32x4.splat(2.08767570e-9);
    cosine = f32x4.add(f32x4.mul(cosine, x2), f32x4.splat(-2.75573192e-7));
    cosine = f32x4.add(f32x4.mul(cosine, x2), f32x4.splat(2.48015873e-5));
    cosine = f32x4.add(f32x4.mul(cosine, x2), f32x4.splat(-1.38888889e-3));
    cosine = f32x4.add(f32x4.mul(cosine, x2), f32x4.splat(4.16666667e-2));
    cosine = f32x4.add(f32x4.mul(cosine, x2), f32x4.splat(-0.5));
    cosine = f32x4.add(f32x4.mul(cosine, x2), f32x4.splat(1));
    const twice = f32x4.add(sine, sine);
    v128.store(plan.fieldRe + at, f32x4.mul(amplitude, f32x4.sub(f32x4.splat(1), f32x4.mul(twice, sine))));
    v128.store(plan.fieldIm + at, f32x4.mul(amplitude, f32x4.mul(twice, cosine)));
  }
}

/**
 * Field (times 2 pi i term when `term` is given) to the focal plane. With `keep` the wave is kept and the intensity
 * written; else the intensity receives 2 Re(conj(kept wave) wave).
 */
function transform(plan: PsfPlan, term: usize, keep: bool): void {
  const size = plan.size;
  const pupil = plan.pupil;
  const half = (<usize>size) << 4;
  const re = plan.columns;
  const im = re + half;
  const otherRe = im + half;
  const otherIm = otherRe + half;
  const pupilRow = (<usize>plan.pupilStride) << 2;
  const sizeRow = (<usize>plan.sizeStride) << 2;

  for (let v = 0; v < plan.pupilStride; v += 4) {
    const column = (<usize>v) << 2;
    for (let u = 0; u < pupil; u++) {
      const at = column + <usize>u * pupilRow;
      let fieldRe = v128.load(plan.fieldRe + at);
      let fieldIm = v128.load(plan.fieldIm + at);
      if (!keep) {
        const factor = f32x4.mul(v128.load(term + at), f32x4.splat(TWO_PI));
        const real = f32x4.neg(f32x4.mul(fieldIm, factor));
        fieldIm = f32x4.mul(fieldRe, factor);
        fieldRe = real;
      }
      v128.store(re + ((<usize>u) << 4), fieldRe);
      v128.store(im + ((<usize>u) << 4), fieldIm);
    }
    clear(re, im, pupil, size);
    const swapped = fftColumns(size, plan.radices, plan.cosines, plan.sines, re, im, otherRe, otherIm);
    storeTurned(swapped ? otherRe : re, size, plan.turnedRe + <usize>v * sizeRow, sizeRow);
    storeTurned(swapped ? otherIm : im, size, plan.turnedIm + <usize>v * sizeRow, sizeRow);
  }

  for (let k = 0; k < plan.sizeStride; k += 4) {
    const column = (<usize>k) << 2;
    for (let v = 0; v < pupil; v++) {
      const at = column + <usize>v * sizeRow;
      v128.store(re + ((<usize>v) << 4), v128.load(plan.turnedRe + at));
      v128.store(im + ((<usize>v) << 4), v128.load(plan.turnedIm + at));
    }
    clear(re, im, pupil, size);
    const swapped = fftColumns(size, plan.radices, plan.cosines, plan.sines, re, im, otherRe, otherIm);
    const fromRe = swapped ? otherRe : re;
    const fromIm = swapped ? otherIm : im;
    for (let row = 0; row < size; row++) {
      const waveRe = v128.load(fromRe + ((<usize>row) << 4));
      const waveIm = v128.load(fromIm + ((<usize>row) << 4));
      const at = column + <usize>row * sizeRow;
      if (keep) {
        v128.store(plan.waveRe + at, waveRe);
        v128.store(plan.waveIm + at, waveIm);
        v128.store(plan.intensity + at, f32x4.add(f32x4.mul(waveRe, waveRe), f32x4.mul(waveIm, waveIm)));
      } else {
        const product = f32x4.add(
          f32x4.mul(waveRe, v128.load(plan.waveRe + at)),
          f32x4.mul(waveIm, v128.load(plan.waveIm + at)),
        );
        v128.store(plan.intensity + at, f32x4.add(product, product));
      }
    }
  }
}

// @ts-ignore: decorator
@inline
function clear(re: usize, im: usize, from: i32, to: i32): void {
  const zero = f32x4.splat(0);
  for (let i = from; i < to; i++) {
    v128.store(re + ((<usize>i) << 4), zero);
    v128.store(im + ((<usize>i) << 4), zero);
  }
}

/** Writes `size` v128 of four columns as four rows. */
// @ts-ignore: decorator
@inline
function storeTurned(from: usize, size: i32, to: usize, row: usize): void {
  for (let i = 0; i < size; i += 4) {
    const at = from + ((<usize>i) << 4);
    // Past the end of an odd size the lanes hold leftovers; the target rows are padded and the rest is not read.
    const a = v128.load(at);
    const b = v128.load(at + 16);
    const c = v128.load(at + 32);
    const d = v128.load(at + 48);
    const abLow = v128.shuffle<f32>(a, b, 0, 4, 1, 5);
    const abHigh = v128.shuffle<f32>(a, b, 2, 6, 3, 7);
    const cdLow = v128.shuffle<f32>(c, d, 0, 4, 1, 5);
    const cdHigh = v128.shuffle<f32>(c, d, 2, 6, 3, 7);
    const column = to + ((<usize>i) << 2);
    v128.store(column, v128.shuffle<f32>(abLow, cdLow, 0, 1, 4, 5));
    v128.store(column + row, v128.shuffle<f32>(abLow, cdLow, 2, 3, 6, 7));
    v128.store(column + 2 * row, v128.shuffle<f32>(abHigh, cdHigh, 0, 1, 4, 5));
    v128.store(column + 3 * row, v128.shuffle<f32>(abHigh, cdHigh, 2, 3, 6, 7));
  }
}

/** Fourier transform of the real intensity at the plan's frequencies, folding +k with -k along both axes. */
function toFrequencies(plan: PsfPlan, target: usize): void {
  const size = plan.size;
  const freqs = plan.freqs;
  const row = (<usize>plan.sizeStride) << 2;
  const tableRow = (<usize>plan.freqStride) << 2;
  const last = size >> 1;
  const evenRows = plan.columns;
  const oddRows = evenRows + ((<usize>(last + 1)) << 4);

  for (let k = 0; k < plan.sizeStride; k += 4) {
    const column = plan.intensity + ((<usize>k) << 2);
    for (let y = 0; y <= last; y++) {
      const one = v128.load(column + <usize>y * row);
      let even = one;
      let odd = f32x4.splat(0);
      if (y > 0 && 2 * y != size) {
        const other = v128.load(column + <usize>(size - y) * row);
        even = f32x4.add(one, other);
        odd = f32x4.sub(one, other);
      }
      v128.store(evenRows + ((<usize>y) << 4), even);
      v128.store(oddRows + ((<usize>y) << 4), odd);
    }
    for (let a = 0; a < freqs; a++) {
      let cosSum = f32x4.splat(0);
      let sinSum = f32x4.splat(0);
      let table = (<usize>a) << 2;
      for (let y = 0; y <= last; y++, table += tableRow) {
        const even = v128.load(evenRows + ((<usize>y) << 4));
        const odd = v128.load(oddRows + ((<usize>y) << 4));
        cosSum = f32x4.add(cosSum, f32x4.mul(even, v128.load32_splat(plan.imageCos + table)));
        sinSum = f32x4.add(sinSum, f32x4.mul(odd, v128.load32_splat(plan.imageSin + table)));
      }
      const at = <usize>a * row + ((<usize>k) << 2);
      v128.store(plan.rowCos + at, cosSum);
      v128.store(plan.rowSin + at, sinSum);
    }
  }

  const plane = <usize>freqs * tableRow;
  for (let a = 0; a < freqs; a++) {
    const cosRow = plan.rowCos + <usize>a * row;
    const sinRow = plan.rowSin + <usize>a * row;
    for (let b: usize = 0; b < tableRow; b += 16) {
      let cosCos = f32x4.splat(0);
      let cosSin = f32x4.splat(0);
      let sinCos = f32x4.splat(0);
      let sinSin = f32x4.splat(0);
      for (let x = 0; x <= last; x++) {
        const at = (<usize>x) << 2;
        const c = load<f32>(cosRow + at);
        const s = load<f32>(sinRow + at);
        let cEven = c;
        let sEven = s;
        let cOdd: f32 = 0;
        let sOdd: f32 = 0;
        if (x > 0 && 2 * x != size) {
          const mirror = (<usize>(size - x)) << 2;
          const cOther = load<f32>(cosRow + mirror);
          const sOther = load<f32>(sinRow + mirror);
          cEven = c + cOther;
          sEven = s + sOther;
          cOdd = c - cOther;
          sOdd = s - sOther;
        }
        const cosine = v128.load(plan.imageCos + <usize>x * tableRow + b);
        const sine = v128.load(plan.imageSin + <usize>x * tableRow + b);
        cosCos = f32x4.add(cosCos, f32x4.mul(f32x4.splat(cEven), cosine));
        cosSin = f32x4.add(cosSin, f32x4.mul(f32x4.splat(cOdd), sine));
        sinCos = f32x4.add(sinCos, f32x4.mul(f32x4.splat(sEven), cosine));
        sinSin = f32x4.add(sinSin, f32x4.mul(f32x4.splat(sOdd), sine));
      }
      // (cos_y - i sin_y)(cos_x -+ i sin_x) summed over the image, for fx = +b and fx = -b.
      const at = target + <usize>a * tableRow + b;
      v128.store(at, f32x4.sub(cosCos, sinSin));
      v128.store(at + plane, f32x4.neg(f32x4.add(sinCos, cosSin)));
      v128.store(at + 2 * plane, f32x4.add(cosCos, sinSin));
      v128.store(at + 3 * plane, f32x4.sub(cosSin, sinCos));
    }
  }
}

/**
 * One image: pixels = real part of the inverse transform of (transfer function `source`) times `factors`
 * (f32 [4: +re, +im, -re, -im][fy][fx], weights of the sum included). `out`: f32 [side][sideStride].
 */
export function psfImage(address: usize, source: i32, factors: usize, out: usize): void {
  const plan = changetype<PsfPlan>(address);
  const freqs = plan.freqs;
  const freqRow = (<usize>plan.freqStride) << 2;
  const plane = <usize>freqs * freqRow;
  const transfer = plan.transfers + <usize>source * 4 * plane;

  // Product, stored as sum and difference of the +fx and -fx halves.
  for (let at: usize = 0; at < plane; at += 16) {
    const plusRe = v128.load(transfer + at);
    const plusIm = v128.load(transfer + plane + at);
    const minusRe = v128.load(transfer + 2 * plane + at);
    const minusIm = v128.load(transfer + 3 * plane + at);
    const fPlusRe = v128.load(factors + at);
    const fPlusIm = v128.load(factors + plane + at);
    const fMinusRe = v128.load(factors + 2 * plane + at);
    const fMinusIm = v128.load(factors + 3 * plane + at);
    const pr = f32x4.sub(f32x4.mul(plusRe, fPlusRe), f32x4.mul(plusIm, fPlusIm));
    const pi = f32x4.add(f32x4.mul(plusRe, fPlusIm), f32x4.mul(plusIm, fPlusRe));
    const mr = f32x4.sub(f32x4.mul(minusRe, fMinusRe), f32x4.mul(minusIm, fMinusIm));
    const mi = f32x4.add(f32x4.mul(minusRe, fMinusIm), f32x4.mul(minusIm, fMinusRe));
    v128.store(plan.product + at, f32x4.add(pr, mr));
    v128.store(plan.product + plane + at, f32x4.add(pi, mi));
    v128.store(plan.product + 2 * plane + at, f32x4.sub(pr, mr));
    v128.store(plan.product + 3 * plane + at, f32x4.sub(pi, mi));
  }

  // Along x: value at +x and -x from the same products.
  const halfRow = (<usize>plan.halfStride) << 2;
  const lineRow = halfRow * 2;
  const imaginary = <usize>freqs * lineRow;
  for (let a = 0; a < freqs; a++) {
    const from = plan.product + <usize>a * freqRow;
    for (let x: usize = 0; x < halfRow; x += 16) {
      let evenRe = f32x4.splat(0);
      let evenIm = f32x4.splat(0);
      let oddRe = f32x4.splat(0);
      let oddIm = f32x4.splat(0);
      for (let b = 0; b < freqs; b++) {
        const at = from + ((<usize>b) << 2);
        const cosine = v128.load(plan.pixelCos + <usize>b * halfRow + x);
        const sine = v128.load(plan.pixelSin + <usize>b * halfRow + x);
        evenRe = f32x4.add(evenRe, f32x4.mul(v128.load32_splat(at), cosine));
        evenIm = f32x4.add(evenIm, f32x4.mul(v128.load32_splat(at + plane), cosine));
        oddIm = f32x4.add(oddIm, f32x4.mul(v128.load32_splat(at + 2 * plane), sine));
        oddRe = f32x4.sub(oddRe, f32x4.mul(v128.load32_splat(at + 3 * plane), sine));
      }
      const line = plan.lines + <usize>a * lineRow + x;
      v128.store(line, f32x4.add(evenRe, oddRe));
      v128.store(line + halfRow, f32x4.sub(evenRe, oddRe));
      v128.store(line + imaginary, f32x4.add(evenIm, oddIm));
      v128.store(line + imaginary + halfRow, f32x4.sub(evenIm, oddIm));
    }
  }

  // Along y, again +y and -y together; the right half lies in place, the left half is written mirrored.
  const middle = plan.half - 1;
  const outRow = (<usize>plan.sideStride) << 2;
  for (let y = 0; y <= middle; y++) {
    const up = out + <usize>(middle + y) * outRow;
    const down = out + <usize>(middle - y) * outRow;
    for (let x: usize = 0; x < lineRow; x += 16) {
      let even = f32x4.splat(0);
      let odd = f32x4.splat(0);
      for (let a = 0; a < freqs; a++) {
        const line = plan.lines + <usize>a * lineRow + x;
        const table = <usize>a * halfRow + ((<usize>y) << 2);
        even = f32x4.add(even, f32x4.mul(v128.load(line), v128.load32_splat(plan.pixelCos + table)));
        odd = f32x4.add(odd, f32x4.mul(v128.load(line + imaginary), v128.load32_splat(plan.pixelSin + table)));
      }
      const plus = f32x4.sub(even, odd);
      const minus = f32x4.add(even, odd);
      if (x < halfRow) {
        const first = <i32>(x >> 2);
        putRight(up, middle + first, plus, plan.side);
        putRight(down, middle + first, minus, plan.side);
      } else {
        const first = <i32>((x - halfRow) >> 2);
        putLeft(up, middle - first, plus);
        putLeft(down, middle - first, minus);
      }
    }
  }
}

// @ts-ignore: decorator
@inline
function putRight(row: usize, at: i32, value: v128, side: i32): void {
  const to = row + ((<usize>at) << 2);
  store<f32>(to, f32x4.extract_lane(value, 0));
  if (at + 1 < side) store<f32>(to + 4, f32x4.extract_lane(value, 1));
  if (at + 2 < side) store<f32>(to + 8, f32x4.extract_lane(value, 2));
  if (at + 3 < side) store<f32>(to + 12, f32x4.extract_lane(value, 3));
}

// @ts-ignore: decorator
@inline
function putLeft(row: usize, at: i32, value: v128): void {
  const to = row + ((<usize>at) << 2);
  store<f32>(to, f32x4.extract_lane(value, 0));
  if (at >= 1) store<f32>(to - 4, f32x4.extract_lane(value, 1));
  if (at >= 2) store<f32>(to - 8, f32x4.extract_lane(value, 2));
  if (at >= 3) store<f32>(to - 12, f32x4.extract_lane(value, 3));
}
