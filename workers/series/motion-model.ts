/**
 * Motion of the field as a sum of parts, each linear in its coefficients: a place per segment (between jumps), a
 * drift, its bend where the run shows one, and waves with harmonics. What a frame sees is the mean over its exposure.
 */
export interface MotionSpec {
  /** Segment of each place, 0, 1, ... */
  segments: Int32Array;
  segmentCount: number;
  /** 1 = even drift, 2 = the drift changes evenly. */
  degree: 1 | 2;
  waves: Wave[];
}

export interface Wave {
  periodS: number;
  harmonics: number;
}

/** The moments of one frame on the common clock. */
export interface Exposed {
  midS: Float64Array;
  exposureS: Float64Array;
}

/** Time zero of drift and waves: the middle of the run, where they depend least on each other. */
export const middleOf = ({ midS }: Exposed): number => (midS[0] + midS[midS.length - 1]) / 2;

/** How much a wave of this period is left in the mean over an exposure: sin(x) / x, x = pi T / P. */
export function smoothing(exposureS: number, periodS: number): number {
  const x = (Math.PI * exposureS) / periodS;
  return Math.abs(x) < 1e-4 ? 1 - (x * x) / 6 : Math.sin(x) / x;
}

/** Columns of the model: segments, drift per minute, bend per minute², then cos and sin of every harmonic. */
export function motionColumns(spec: MotionSpec, exposed: Exposed): Float64Array[] {
  const n = exposed.midS.length;
  const zero = middleOf(exposed);
  const minutes = exposed.midS.map((t) => (t - zero) / 60);
  const columns: Float64Array[] = [];
  for (let segment = 0; segment < spec.segmentCount; segment++)
    columns.push(Float64Array.from(spec.segments, (each) => Number(each === segment)));
  columns.push(minutes);
  if (spec.degree === 2)
    // The mean of t² over the exposure is that of its middle and T²/12.
    columns.push(minutes.map((t, i) => t * t + (exposed.exposureS[i] / 60) ** 2 / 12));
  for (const wave of spec.waves)
    for (let h = 1; h <= wave.harmonics; h++) {
      const cos = new Float64Array(n);
      const sin = new Float64Array(n);
      waveColumns(exposed, zero, wave.periodS / h, cos, sin);
      columns.push(cos, sin);
    }
  return columns;
}

export function waveColumns(
  { midS, exposureS }: Exposed,
  zero: number,
  periodS: number,
  cos: Float64Array,
  sin: Float64Array,
): void {
  for (let i = 0; i < midS.length; i++) {
    const phase = (2 * Math.PI * (midS[i] - zero)) / periodS;
    const left = smoothing(exposureS[i], periodS);
    cos[i] = left * Math.cos(phase);
    sin[i] = left * Math.sin(phase);
  }
}

/** Where the coefficients of the drift and of the waves begin. */
export const driftAt = (spec: MotionSpec): number => spec.segmentCount;
export const waveAt = (spec: MotionSpec, wave: number): number =>
  spec.segmentCount +
  spec.degree +
  2 * spec.waves.slice(0, wave).reduce((sum, { harmonics }) => sum + harmonics, 0);

/** Coefficients of a fitted motion, one column each for x and y, and the periods that go with them. */
export interface Motion {
  spec: MotionSpec;
  zeroS: number;
  /** Half of the run: farther from zero a bend goes on as a straight line, because nobody has seen it there. */
  halfSpanS: number;
  x: Float64Array;
  y: Float64Array;
}

/** Place along one axis at one moment, without the segments' places: where the mount was, not a frame's mean. */
export function placeAt(motion: Motion, coefficients: Float64Array, timeS: number): number {
  const { spec, zeroS } = motion;
  const t = (timeS - zeroS) / 60;
  const drift = driftAt(spec);
  let sum = coefficients[drift] * t;
  if (spec.degree === 2) {
    const half = motion.halfSpanS / 60;
    const inside = Math.min(Math.max(t, -half), half);
    sum += coefficients[drift + 1] * inside * (2 * t - inside);
  }
  spec.waves.forEach((_, wave) => (sum += waveValue(spec, wave, coefficients, timeS - zeroS)));
  return sum;
}

export function waveValue(
  spec: MotionSpec,
  wave: number,
  coefficients: Float64Array,
  sinceS: number,
): number {
  const { periodS, harmonics } = spec.waves[wave];
  const from = waveAt(spec, wave);
  let sum = 0;
  for (let h = 1; h <= harmonics; h++) {
    const phase = (2 * Math.PI * h * sinceS) / periodS;
    sum +=
      coefficients[from + 2 * h - 2] * Math.cos(phase) + coefficients[from + 2 * h - 1] * Math.sin(phase);
  }
  return sum;
}
