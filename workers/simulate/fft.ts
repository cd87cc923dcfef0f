/**
 * Discrete Fourier transform of every column of a matrix at once (Stockham's self-sorting algorithm).
 * With the columns lying side by side the innermost loop runs over memory in order and keeps its twiddle factor,
 * so a transform in two dimensions is: columns, transpose, columns.
 */
export interface ComplexMatrix {
  rows: number;
  cols: number;
  /** Row by row, real and imaginary parts apart. */
  re: Float64Array;
  im: Float64Array;
}

export const complexMatrix = (rows: number, cols: number): ComplexMatrix => ({
  rows,
  cols,
  re: new Float64Array(rows * cols),
  im: new Float64Array(rows * cols),
});

/** Lengths that are transformed: products of 2 and 3, chosen so that the next is never more than 1.5 times as long. */
export const FFT_LENGTHS = [32, 48, 64, 96, 128, 192, 256, 384, 512, 768, 1024, 1536, 2048];

/**
 * X[k] = sum over j of x[j] exp(-2 pi i j k / rows), down each column. Not normalised.
 * The result lies in one of the two matrices, which is returned; the contents of the other are lost.
 */
export function transformColumns(input: ComplexMatrix, scratch: ComplexMatrix): ComplexMatrix {
  const { rows, cols } = input;
  const { cos, sin } = twiddles(rows);
  let from = input;
  let to: ComplexMatrix = { ...scratch, rows, cols };
  let n = rows;
  let stride = cols;
  while (n > 1) {
    const radix = n % 4 === 0 ? 4 : n % 2 === 0 ? 2 : 3;
    if (n % radix !== 0) throw new Error(`${rows} rows: only products of 2 and 3 can be transformed`);
    const step = rows / n;
    if (radix === 4) pass4(from, to, n / 4, stride, step, cos, sin);
    else if (radix === 2) pass2(from, to, n / 2, stride, step, cos, sin);
    else pass3(from, to, n / 3, stride, step, cos, sin);
    [from, to] = [to, from];
    n /= radix;
    stride *= radix;
  }
  return from;
}

/** Transposed copy of the first `rows` x `cols` of `from` into `to`, which gets `cols` rows of length `rows`. */
export function transposeInto(from: ComplexMatrix, rows: number, cols: number, to: ComplexMatrix): void {
  const width = from.cols;
  to.rows = cols;
  to.cols = rows;
  // Blocks keep both sides of the exchange in cache.
  for (let y0 = 0; y0 < rows; y0 += 16) {
    const y1 = Math.min(rows, y0 + 16);
    for (let x = 0; x < cols; x++) {
      for (let y = y0; y < y1; y++) {
        to.re[x * rows + y] = from.re[y * width + x];
        to.im[x * rows + y] = from.im[y * width + x];
      }
    }
  }
}

const TWIDDLES = new Map<number, { cos: Float64Array; sin: Float64Array }>();

/** exp(-2 pi i k / n) for k = 0 ... n - 1. */
function twiddles(n: number) {
  let table = TWIDDLES.get(n);
  if (!table) {
    table = { cos: new Float64Array(n), sin: new Float64Array(n) };
    for (let k = 0; k < n; k++) {
      table.cos[k] = Math.cos((2 * Math.PI * k) / n);
      table.sin[k] = -Math.sin((2 * Math.PI * k) / n);
    }
    TWIDDLES.set(n, table);
  }
  return table;
}

type Pass = (
  from: ComplexMatrix,
  to: ComplexMatrix,
  m: number,
  stride: number,
  step: number,
  cos: Float64Array,
  sin: Float64Array,
) => void;

const pass2: Pass = (from, to, m, stride, step, cos, sin) => {
  const { re: xr, im: xi } = from;
  const { re: yr, im: yi } = to;
  for (let p = 0; p < m; p++) {
    const wr = cos[p * step];
    const wi = sin[p * step];
    let a = stride * p;
    let b = a + stride * m;
    let y = 2 * stride * p;
    for (let q = 0; q < stride; q++, a++, b++, y++) {
      const dr = xr[a] - xr[b];
      const di = xi[a] - xi[b];
      yr[y] = xr[a] + xr[b];
      yi[y] = xi[a] + xi[b];
      yr[y + stride] = dr * wr - di * wi;
      yi[y + stride] = dr * wi + di * wr;
    }
  }
};

const pass3: Pass = (from, to, m, stride, step, cos, sin) => {
  const { re: xr, im: xi } = from;
  const { re: yr, im: yi } = to;
  const half = Math.sqrt(0.75);
  for (let p = 0; p < m; p++) {
    const w1r = cos[p * step];
    const w1i = sin[p * step];
    const w2r = cos[2 * p * step];
    const w2i = sin[2 * p * step];
    let a = stride * p;
    let y = 3 * stride * p;
    for (let q = 0; q < stride; q++, a++, y++) {
      const b = a + stride * m;
      const c = b + stride * m;
      const sr = xr[b] + xr[c];
      const si = xi[b] + xi[c];
      const tr = xr[a] - 0.5 * sr;
      const ti = xi[a] - 0.5 * si;
      // -i sqrt(3/4) (b - c)
      const ur = half * (xi[b] - xi[c]);
      const ui = -half * (xr[b] - xr[c]);
      yr[y] = xr[a] + sr;
      yi[y] = xi[a] + si;
      yr[y + stride] = (tr + ur) * w1r - (ti + ui) * w1i;
      yi[y + stride] = (tr + ur) * w1i + (ti + ui) * w1r;
      yr[y + 2 * stride] = (tr - ur) * w2r - (ti - ui) * w2i;
      yi[y + 2 * stride] = (tr - ur) * w2i + (ti - ui) * w2r;
    }
  }
};

const pass4: Pass = (from, to, m, stride, step, cos, sin) => {
  const { re: xr, im: xi } = from;
  const { re: yr, im: yi } = to;
  for (let p = 0; p < m; p++) {
    const w1r = cos[p * step];
    const w1i = sin[p * step];
    const w2r = cos[2 * p * step];
    const w2i = sin[2 * p * step];
    const w3r = cos[3 * p * step];
    const w3i = sin[3 * p * step];
    let a = stride * p;
    let y = 4 * stride * p;
    for (let q = 0; q < stride; q++, a++, y++) {
      const b = a + stride * m;
      const c = b + stride * m;
      const d = c + stride * m;
      const acr = xr[a] + xr[c];
      const aci = xi[a] + xi[c];
      const dcr = xr[a] - xr[c];
      const dci = xi[a] - xi[c];
      const bdr = xr[b] + xr[d];
      const bdi = xi[b] + xi[d];
      // -i (b - d)
      const er = xi[b] - xi[d];
      const ei = xr[d] - xr[b];
      yr[y] = acr + bdr;
      yi[y] = aci + bdi;
      yr[y + stride] = (dcr + er) * w1r - (dci + ei) * w1i;
      yi[y + stride] = (dcr + er) * w1i + (dci + ei) * w1r;
      yr[y + 2 * stride] = (acr - bdr) * w2r - (aci - bdi) * w2i;
      yi[y + 2 * stride] = (acr - bdr) * w2i + (aci - bdi) * w2r;
      yr[y + 3 * stride] = (dcr - er) * w3r - (dci - ei) * w3i;
      yi[y + 3 * stride] = (dcr - er) * w3i + (dci - ei) * w3r;
    }
  }
};
