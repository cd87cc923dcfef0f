import { complexMatrix, transformColumns, transposeInto, type ComplexMatrix } from './fft.ts';
import type { Pupil } from './pupil.ts';
import { pathUm, type Wavefront } from './wavefront.ts';

/**
 * A transfer function on a lattice of spatial frequencies (kx, ky) / windowUm: the Fourier transform of a picture of
 * total 1 (a real picture, so kx < 0 follows by conjugation). Row ky + kMax holds kx = 0 ... kMax.
 * A phase exp(-2 pi i f . d) moves the picture by d.
 */
export interface Transfer {
  kMax: number;
  windowUm: number;
  re: Float64Array;
  im: Float64Array;
}

export const emptyTransfer = (kMax: number, windowUm: number): Transfer => ({
  kMax,
  windowUm,
  re: new Float64Array((2 * kMax + 1) * (kMax + 1)),
  im: new Float64Array((2 * kMax + 1) * (kMax + 1)),
});

/** Working memory for pictures of n x n samples. */
export interface Workspace {
  n: number;
  a: ComplexMatrix;
  b: ComplexMatrix;
}

export const createWorkspace = (n: number): Workspace => ({
  n,
  a: complexMatrix(n, n),
  b: complexMatrix(n, n),
});

/**
 * Transfer function of the optics for one wavelength: the autocorrelation of the pupil function
 * open(u, v) exp(2 pi i W / wavelength), by way of the Fraunhofer pattern (Goodman, Introduction to Fourier Optics).
 * The grid of n points is at least twice the pupil's, so the autocorrelation does not wrap; the picture it belongs to
 * repeats with the period windowUm = wavelength F (samples across the pupil), which therefore must hold the spot and
 * its diffraction wings.
 */
export function opticalTransfer(
  pupil: Pupil,
  wavefront: Wavefront,
  wavelengthUm: number,
  kMax: number,
  windowUm: number,
  workspace: Workspace,
): Transfer {
  const { n } = workspace;
  if (2 * pupil.side > n + 2 || 2 * kMax > n) throw new Error('the pupil is too large for its grid');
  let { a, b } = workspace;
  fillPupil(pupil, wavefront, wavelengthUm, n, a);
  const swap = (result: ComplexMatrix) => {
    if (result.re === b.re) [a, b] = [b, a];
    a.rows = result.rows;
    a.cols = result.cols;
  };

  // Field: columns of the pupil, then its rows. Columns outside the pupil are zero and stay out of the first pass.
  swap(transformColumns(a, b));
  transposeInto(a, n, pupil.side, b);
  [a, b] = [b, a];
  a.re.fill(0, n * pupil.side);
  a.im.fill(0, n * pupil.side);
  a.rows = n;
  swap(transformColumns(a, b));

  for (let i = 0; i < n * n; i++) {
    a.re[i] = a.re[i] * a.re[i] + a.im[i] * a.im[i];
    a.im[i] = 0;
  }
  // Rows are x now: their transform is needed for kx = 0 ... kMax only.
  swap(transformColumns(a, b));
  transposeInto(a, kMax + 1, n, b);
  [a, b] = [b, a];
  swap(transformColumns(a, b));
  return cutOut(a, n, kMax, windowUm, pupil.openArea);
}

function fillPupil(pupil: Pupil, w: Wavefront, wavelengthUm: number, n: number, to: ComplexMatrix): void {
  const { side, index, u, v, open } = pupil;
  to.rows = n;
  to.cols = side;
  to.re.fill(0, 0, n * side);
  to.im.fill(0, 0, n * side);
  const wavesToRad = (2 * Math.PI) / wavelengthUm;
  for (let i = 0; i < index.length; i++) {
    const phase = wavesToRad * pathUm(w, u[i], v[i]);
    to.re[index[i]] = open[i] * Math.cos(phase);
    to.im[index[i]] = open[i] * Math.sin(phase);
  }
}

/**
 * Frequencies -kMax ... kMax of ky (rows, negative ones from the end) and 0 ... kMax of kx, over the pupil's open area.
 * At zero the sampled pupil gives a percent less than 1, for there the autocorrelation has a peak that the averaging of
 * edge squares rounds off. All light counts, so 1 is put there: what has strayed farthest is then spread evenly.
 */
function cutOut(from: ComplexMatrix, n: number, kMax: number, windowUm: number, openArea: number): Transfer {
  const out = emptyTransfer(kMax, windowUm);
  // n^2 from the unnormalised forward and backward pass.
  const scale = 1 / (n * n * openArea);
  for (let ky = -kMax; ky <= kMax; ky++) {
    const source = ((ky + n) % n) * from.cols;
    const target = (ky + kMax) * (kMax + 1);
    for (let kx = 0; kx <= kMax; kx++) {
      out.re[target + kx] = from.re[source + kx] * scale;
      out.im[target + kx] = from.im[source + kx] * scale;
    }
  }
  out.re[kMax * (kMax + 1)] = 1;
  return out;
}
