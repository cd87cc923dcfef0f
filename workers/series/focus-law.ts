import { besselJ1 } from '../rig/diffraction.ts';
import { GREEN_UM } from '../rig/image-scale.ts';

/** What of the telescope and camera sets a star's size against defocus. */
export interface FocusOptics {
  focalRatio: number;
  obstruction: number;
  pixelUm: number;
}

/**
 * A star's half-flux diameter against defocus: `hfdPx(defocus, core)`. `core` is the size in focus through the air: the
 * full width of its light in pixels before diffraction and pixel. Even in the defocus, micrometres.
 */
export interface FocusLaw {
  hfdPx(defocus: number, corePx: number): number;
  /** Derivative of the half-flux diameter for large defocus, px per unit of defocus. */
  slope: number;
  /** Radius of the disc's edge, px per µm of defocus. */
  discRadiusPx: number;
  /** Core that gives this half-flux diameter in focus; the smallest of the law where the star is narrower than that. */
  coreFor(hfdPx: number): number;
}

const DEFOCI = 56;
const CORES = 18;
const SMALLEST_CORE_PX = 0.4;
const CORE_STEP = 1.28;
const FREQUENCIES = 96;
const PUPIL_STEPS = 48;
const RADII = 96;

/**
 * The law by wave optics: the defocused annulus' transfer function (W = z ρ² / 8F², 0.55 µm) times Kolmogorov's air,
 * exp[-3.44193 (f w / 0.975863)^(5/3)] (Fried 1966), times the pixel; the light within a circle of radius R is
 * 2πR ∫ T(f) J1(2πRf) df. Tabled once up to `mostUm` of defocus and straight beyond, where the circle of geometry holds:
 * half of the light within |z|/F sqrt((1+ε²)/2).
 */
export function waveFocusLaw(optics: FocusOptics, mostUm: number): FocusLaw {
  const cutOff = 1 / (GREEN_UM * optics.focalRatio);
  // Beyond this frequency the air (of the smallest core) and the pixel leave nothing.
  const highest = Math.min(cutOff, 1.6 / (optics.pixelUm * Math.max(SMALLEST_CORE_PX, 1)));
  const frequencies = Float64Array.from(
    { length: FREQUENCIES },
    (_, i) => ((i + 0.5) * highest) / FREQUENCIES,
  );
  const slopeUm = Math.sqrt((1 + optics.obstruction ** 2) / 2) / optics.focalRatio;
  const largestUm = 2 * optics.pixelUm * SMALLEST_CORE_PX * CORE_STEP ** (CORES - 1) + mostUm * slopeUm;
  const radii = Float64Array.from(
    { length: RADII },
    (_, i) => 0.12 * optics.pixelUm + (largestUm * (i / RADII) ** 2) / 1.4,
  );
  const kernel = circleKernel(radii, frequencies, highest / FREQUENCIES);
  const table = new Float64Array(DEFOCI * CORES);
  const stepUm = mostUm / (DEFOCI - 1);
  for (let i = 0; i < DEFOCI; i++) {
    const pupil = frequencies.map(
      (f) => defocusTransfer(f / cutOff, i * stepUm, optics) * pixelTransfer(f * optics.pixelUm),
    );
    for (let j = 0; j < CORES; j++) {
      const widthUm = SMALLEST_CORE_PX * CORE_STEP ** j * optics.pixelUm;
      const transfer = pupil.map(
        (value, k) => value * Math.exp(-3.44193 * ((frequencies[k] * widthUm) / 0.975863) ** (5 / 3)),
      );
      table[i * CORES + j] = (2 * halfLightRadius(transfer, radii, kernel)) / optics.pixelUm;
    }
  }
  const slope = slopeUm / optics.pixelUm;
  const hfdPx = (defocus: number, corePx: number): number => {
    const z = Math.abs(defocus) / stepUm;
    const i = Math.min(Math.floor(z), DEFOCI - 2);
    const c = Math.log(Math.max(corePx, 1e-3) / SMALLEST_CORE_PX) / Math.log(CORE_STEP);
    const j = Math.max(0, Math.min(Math.floor(c), CORES - 2));
    const v = Math.max(-1, Math.min(c - j, 2));
    const at = (row: number) => table[row * CORES + j] * (1 - v) + table[row * CORES + j + 1] * v;
    if (z > DEFOCI - 1) return at(DEFOCI - 1) + (z - DEFOCI + 1) * stepUm * slope;
    const u = z - i;
    return Math.max(0.1, at(i) * (1 - u) + at(i + 1) * u);
  };
  return {
    hfdPx,
    slope,
    discRadiusPx: 1 / (2 * optics.focalRatio * optics.pixelUm),
    coreFor: (hfd) => inverseCore(hfdPx, hfd),
  };
}

function inverseCore(hfdPx: FocusLaw['hfdPx'], wanted: number): number {
  let [low, high] = [SMALLEST_CORE_PX, SMALLEST_CORE_PX * CORE_STEP ** (CORES - 1)];
  for (let round = 0; round < 40; round++) {
    const middle = Math.sqrt(low * high);
    if (hfdPx(0, middle) > wanted) high = middle;
    else low = middle;
  }
  return Math.sqrt(low * high);
}

/**
 * Transfer function of an annulus with defocus, real by symmetry: 1/A ∫ L(u) cos(4π a s u / λ) du, a = z / 8F² the
 * wavefront at the edge, s the shift of the pupil over itself (0 to 2 radii; `share` of the cut-off), L(u) the length of
 * the overlap across the shift (Goodman, Introduction to Fourier Optics, ch. 6; chapter from memory).
 */
export function defocusTransfer(share: number, zUm: number, optics: FocusOptics): number {
  const shift = 2 * share;
  if (shift >= 2) return 0;
  const { obstruction, focalRatio } = optics;
  const edgeWaves = zUm / (8 * focalRatio ** 2) / GREEN_UM;
  const reach = 1 - shift / 2;
  let sum = 0;
  const steps = PUPIL_STEPS + 2 * Math.ceil(Math.abs(8 * edgeWaves * shift));
  for (let i = 0; i < steps; i++) {
    const u = ((i + 0.5) * reach) / steps;
    sum += overlap(u, shift / 2, obstruction) * Math.cos(4 * Math.PI * edgeWaves * shift * u);
  }
  return (2 * sum * reach) / steps / (Math.PI * (1 - obstruction ** 2));
}

/** Length in v where both (u + half, v) and (u - half, v) lie in the annulus; u at least 0. */
function overlap(u: number, half: number, obstruction: number): number {
  const outer2 = 1 - (u + half) ** 2;
  if (outer2 <= 0) return 0;
  const hole2 = obstruction ** 2 - (u - half) ** 2;
  return 2 * Math.max(0, Math.sqrt(outer2) - Math.sqrt(Math.max(0, hole2)));
}

/** Square pixel, mean over the directions to second order: a Gaussian of its variance 1/12. `f` in cycles per pixel. */
const pixelTransfer = (f: number): number => Math.exp(-((2 * Math.PI * f) ** 2) / 24);

/** Rows of 2πR J1(2πRf) df, one per radius. */
function circleKernel(radii: Float64Array, frequencies: Float64Array, df: number): Float64Array[] {
  return Array.from(radii, (r) =>
    frequencies.map((f) => 2 * Math.PI * r * besselJ1(2 * Math.PI * r * f) * df),
  );
}

function halfLightRadius(transfer: Float64Array, radii: Float64Array, kernel: Float64Array[]): number {
  const within = (i: number) => kernel[i].reduce((sum, k, f) => sum + k * transfer[f], 0);
  let [low, high] = [0, radii.length - 1];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (within(middle) < 0.5) low = middle;
    else high = middle;
  }
  // Between two radii the light grows about evenly in R.
  const [inner, outer] = [within(low), within(high)];
  const part = outer > inner ? Math.max(0, Math.min(1, (0.5 - inner) / (outer - inner))) : 0;
  return radii[low] + part * (radii[high] - radii[low]);
}
