// Fourier transform of four columns at once: each SIMD lane carries one column, so no lane ever talks to another.
// Stockham's self-sorting form with radices 2, 3, 4 and 5; real and imaginary parts in separate arrays of v128.

const SIN_60: f32 = 0.86602540378;
const COS_72: f32 = 0.30901699437;
const SIN_72: f32 = 0.95105651629;
const COS_36: f32 = 0.80901699437;
const SIN_36: f32 = 0.58778525229;

// @ts-ignore: decorator
@inline
function scale(a: v128, factor: f32): v128 {
  return f32x4.mul(a, f32x4.splat(factor));
}

/**
 * Forward transform (exponent -2 pi i jk / size) of the `size` v128 at `re`, `im`.
 * `radices`: i32 factors of size, ended by 0. `cosines`, `sines`: f32 tables of cos and -sin of 2 pi t / size.
 * `otherRe`, `otherIm`: scratch of the same length. Returns true when the result lies in the scratch.
 */
export function fftColumns(
  size: i32, radices: usize, cosines: usize, sines: usize, re: usize, im: usize, otherRe: usize, otherIm: usize,
): bool {
  let length = size;
  let stride = 1;
  let swapped = false;
  for (let at = radices; load<i32>(at) != 0; at += 4) {
    const radix = load<i32>(at);
    const rest = length / radix;
    for (let p = 0; p < rest; p++) {
      const step = <usize>(p * stride);
      for (let q = 0; q < stride; q++) {
        const from = (<usize>(q + stride * p)) << 4;
        const hop = (<usize>(stride * rest)) << 4;
        const to = (<usize>(q + stride * radix * p)) << 4;
        const pace = (<usize>stride) << 4;
        if (radix == 4) butterfly4(re + from, im + from, hop, otherRe + to, otherIm + to, pace, cosines, sines, step);
        else if (radix == 2) butterfly2(re + from, im + from, hop, otherRe + to, otherIm + to, pace, cosines, sines, step);
        else if (radix == 3) butterfly3(re + from, im + from, hop, otherRe + to, otherIm + to, pace, cosines, sines, step);
        else butterfly5(re + from, im + from, hop, otherRe + to, otherIm + to, pace, cosines, sines, step);
      }
    }
    length = rest;
    stride *= radix;
    const r = re;
    re = otherRe;
    otherRe = r;
    const i = im;
    im = otherIm;
    otherIm = i;
    swapped = !swapped;
  }
  return swapped;
}

/** Stores (re + i im) times the twiddle of index `turn`. */
// @ts-ignore: decorator
@inline
function putTurned(re: v128, im: v128, turn: usize, cosines: usize, sines: usize, toRe: usize, toIm: usize): void {
  const c = v128.load32_splat(cosines + (turn << 2));
  const s = v128.load32_splat(sines + (turn << 2));
  v128.store(toRe, f32x4.sub(f32x4.mul(re, c), f32x4.mul(im, s)));
  v128.store(toIm, f32x4.add(f32x4.mul(re, s), f32x4.mul(im, c)));
}

// @ts-ignore: decorator
@inline
function butterfly2(
  re: usize, im: usize, hop: usize, toRe: usize, toIm: usize, pace: usize, cosines: usize, sines: usize, step: usize,
): void {
  const ar = v128.load(re);
  const ai = v128.load(im);
  const br = v128.load(re + hop);
  const bi = v128.load(im + hop);
  v128.store(toRe, f32x4.add(ar, br));
  v128.store(toIm, f32x4.add(ai, bi));
  putTurned(f32x4.sub(ar, br), f32x4.sub(ai, bi), step, cosines, sines, toRe + pace, toIm + pace);
}

// @ts-ignore: decorator
@inline
function butterfly3(
  re: usize, im: usize, hop: usize, toRe: usize, toIm: usize, pace: usize, cosines: usize, sines: usize, step: usize,
): void {
  const ar = v128.load(re);
  const ai = v128.load(im);
  const br = v128.load(re + hop);
  const bi = v128.load(im + hop);
  const cr = v128.load(re + 2 * hop);
  const ci = v128.load(im + 2 * hop);
  const sumR = f32x4.add(br, cr);
  const sumI = f32x4.add(bi, ci);
  const midR = f32x4.sub(ar, scale(sumR, 0.5));
  const midI = f32x4.sub(ai, scale(sumI, 0.5));
  const difR = scale(f32x4.sub(br, cr), SIN_60);
  const difI = scale(f32x4.sub(bi, ci), SIN_60);
  v128.store(toRe, f32x4.add(ar, sumR));
  v128.store(toIm, f32x4.add(ai, sumI));
  putTurned(f32x4.add(midR, difI), f32x4.sub(midI, difR), step, cosines, sines, toRe + pace, toIm + pace);
  putTurned(
    f32x4.sub(midR, difI), f32x4.add(midI, difR), 2 * step, cosines, sines, toRe + 2 * pace, toIm + 2 * pace,
  );
}

// @ts-ignore: decorator
@inline
function butterfly4(
  re: usize, im: usize, hop: usize, toRe: usize, toIm: usize, pace: usize, cosines: usize, sines: usize, step: usize,
): void {
  const ar = v128.load(re);
  const ai = v128.load(im);
  const br = v128.load(re + hop);
  const bi = v128.load(im + hop);
  const cr = v128.load(re + 2 * hop);
  const ci = v128.load(im + 2 * hop);
  const dr = v128.load(re + 3 * hop);
  const di = v128.load(im + 3 * hop);
  const acR = f32x4.add(ar, cr);
  const acI = f32x4.add(ai, ci);
  const a_cR = f32x4.sub(ar, cr);
  const a_cI = f32x4.sub(ai, ci);
  const bdR = f32x4.add(br, dr);
  const bdI = f32x4.add(bi, di);
  const b_dR = f32x4.sub(br, dr);
  const b_dI = f32x4.sub(bi, di);
  v128.store(toRe, f32x4.add(acR, bdR));
  v128.store(toIm, f32x4.add(acI, bdI));
  putTurned(f32x4.add(a_cR, b_dI), f32x4.sub(a_cI, b_dR), step, cosines, sines, toRe + pace, toIm + pace);
  putTurned(
    f32x4.sub(acR, bdR), f32x4.sub(acI, bdI), 2 * step, cosines, sines, toRe + 2 * pace, toIm + 2 * pace,
  );
  putTurned(
    f32x4.sub(a_cR, b_dI), f32x4.add(a_cI, b_dR), 3 * step, cosines, sines, toRe + 3 * pace, toIm + 3 * pace,
  );
}

// @ts-ignore: decorator
@inline
function butterfly5(
  re: usize, im: usize, hop: usize, toRe: usize, toIm: usize, pace: usize, cosines: usize, sines: usize, step: usize,
): void {
  const ar = v128.load(re);
  const ai = v128.load(im);
  const br = v128.load(re + hop);
  const bi = v128.load(im + hop);
  const cr = v128.load(re + 2 * hop);
  const ci = v128.load(im + 2 * hop);
  const dr = v128.load(re + 3 * hop);
  const di = v128.load(im + 3 * hop);
  const er = v128.load(re + 4 * hop);
  const ei = v128.load(im + 4 * hop);
  const beR = f32x4.add(br, er);
  const beI = f32x4.add(bi, ei);
  const b_eR = f32x4.sub(br, er);
  const b_eI = f32x4.sub(bi, ei);
  const cdR = f32x4.add(cr, dr);
  const cdI = f32x4.add(ci, di);
  const c_dR = f32x4.sub(cr, dr);
  const c_dI = f32x4.sub(ci, di);
  v128.store(toRe, f32x4.add(ar, f32x4.add(beR, cdR)));
  v128.store(toIm, f32x4.add(ai, f32x4.add(beI, cdI)));
  const oneR = f32x4.add(ar, f32x4.sub(scale(beR, COS_72), scale(cdR, COS_36)));
  const oneI = f32x4.add(ai, f32x4.sub(scale(beI, COS_72), scale(cdI, COS_36)));
  const twoR = f32x4.add(ar, f32x4.sub(scale(cdR, COS_72), scale(beR, COS_36)));
  const twoI = f32x4.add(ai, f32x4.sub(scale(cdI, COS_72), scale(beI, COS_36)));
  const oddOneR = f32x4.add(scale(b_eR, SIN_72), scale(c_dR, SIN_36));
  const oddOneI = f32x4.add(scale(b_eI, SIN_72), scale(c_dI, SIN_36));
  const oddTwoR = f32x4.sub(scale(b_eR, SIN_36), scale(c_dR, SIN_72));
  const oddTwoI = f32x4.sub(scale(b_eI, SIN_36), scale(c_dI, SIN_72));
  putTurned(f32x4.add(oneR, oddOneI), f32x4.sub(oneI, oddOneR), step, cosines, sines, toRe + pace, toIm + pace);
  putTurned(
    f32x4.add(twoR, oddTwoI), f32x4.sub(twoI, oddTwoR), 2 * step, cosines, sines, toRe + 2 * pace, toIm + 2 * pace,
  );
  putTurned(
    f32x4.sub(twoR, oddTwoI), f32x4.add(twoI, oddTwoR), 3 * step, cosines, sines, toRe + 3 * pace, toIm + 3 * pace,
  );
  putTurned(
    f32x4.sub(oneR, oddOneI), f32x4.add(oneI, oddOneR), 4 * step, cosines, sines, toRe + 4 * pace, toIm + 4 * pace,
  );
}
