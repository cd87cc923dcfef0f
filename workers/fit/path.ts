import type { PathKind } from './parameters.ts';

/**
 * Transfer function of the image's motion as a function of p = f . d (cycles), d being the star's motion vector, and
 * its derivatives: by p and by the two parameters of the path. Tabulated once per model, interpolated per frequency.
 * The origin is the mean position over the exposure.
 */
export interface PathTable {
  kind: PathKind;
  step: number;
  last: number;
  /** [re, im] of value, by p, by path1, by path2, and the p-derivative of each for Hermite interpolation. */
  samples: Float64Array;
}

const STRIDE = 16;
const STEPS_PER_CYCLE = 24;
const SWING_POINTS = 24;

/** Share of the exposure spent at the first place of a jump. */
export const jumpShare = (path1: number): number => 1 / (1 + Math.exp(-path1));
/** Exposure as a share of the period of a swing. */
export const swingPhase = (t: number, path1: number, path2: number): number =>
  2 * Math.PI * t * Math.exp(-path2) + path1;

/** Positions (in units of d, mean 0) of the image at equal times, with their derivatives by path1 and path2. */
function swingPositions(path1: number, path2: number) {
  const s: number[] = [];
  const by1: number[] = [];
  const by2: number[] = [];
  for (let i = 0; i < SWING_POINTS; i++) {
    const t = (i + 0.5) / SWING_POINTS;
    const phase = swingPhase(t, path1, path2);
    s.push(Math.sin(phase));
    by1.push(Math.cos(phase));
    by2.push(-Math.cos(phase) * (phase - path1));
  }
  const centre = (values: number[]) => {
    const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
    return values.map((value) => value - mean);
  };
  return { s: centre(s), by1: centre(by1), by2: centre(by2) };
}

/** Variance of the position along the path and its extent, both per unit |d| (squared). */
export function pathSpread(
  kind: PathKind,
  path1: number,
  path2: number,
): { variance: number; extent: number } {
  // A free path is no multiple of one vector.
  if (kind === 'none' || kind === 'free') return { variance: 0, extent: 0 };
  if (kind === 'straight') return { variance: 1 / 12, extent: 1 };
  if (kind === 'jump') {
    const q = jumpShare(path1);
    return { variance: q * (1 - q), extent: 1 };
  }
  const { s } = swingPositions(path1, path2);
  // The extremes lie between the points: sample the sine itself.
  let low = Infinity;
  let high = -Infinity;
  for (let i = 0; i <= 256; i++) {
    const value = Math.sin(swingPhase(i / 256, path1, path2));
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return { variance: s.reduce((sum, value) => sum + value * value, 0) / s.length, extent: high - low };
}

/** Writes value, by p, by path1, by path2 (re, im each) at p. */
function exact(kind: PathKind, p: number, path1: number, path2: number, out: Float64Array): void {
  out.fill(0);
  const turn = 2 * Math.PI;
  if (kind === 'none' || kind === 'free') {
    out[0] = 1;
  } else if (kind === 'straight') {
    const x = Math.PI * p;
    if (Math.abs(x) < 1e-4) {
      out[0] = 1 - (x * x) / 6;
      out[2] = (-Math.PI * x) / 3;
    } else {
      out[0] = Math.sin(x) / x;
      out[2] = (Math.PI * (Math.cos(x) - out[0])) / x;
    }
  } else if (kind === 'jump') {
    const q = jumpShare(path1);
    const slope = q * (1 - q);
    const add = (share: number, place: number, shareByQ: number, placeByQ: number) => {
      const c = Math.cos(turn * p * place);
      const s = -Math.sin(turn * p * place);
      out[0] += share * c;
      out[1] += share * s;
      out[2] += share * turn * place * s;
      out[3] -= share * turn * place * c;
      out[4] += slope * (shareByQ * c + share * turn * p * placeByQ * s);
      out[5] += slope * (shareByQ * s - share * turn * p * placeByQ * c);
    };
    add(q, 1 - q, 1, -1);
    add(1 - q, -q, -1, -1);
  } else {
    const { s: places, by1, by2 } = swingPositions(path1, path2);
    const share = 1 / places.length;
    places.forEach((place, i) => {
      const c = share * Math.cos(turn * p * place);
      const s = -share * Math.sin(turn * p * place);
      out[0] += c;
      out[1] += s;
      out[2] += turn * place * s;
      out[3] -= turn * place * c;
      out[4] += turn * p * by1[i] * s;
      out[5] -= turn * p * by1[i] * c;
      out[6] += turn * p * by2[i] * s;
      out[7] -= turn * p * by2[i] * c;
    });
  }
}

/** Tabulates a path for |p| up to `reach`. */
export function pathTable(kind: PathKind, path1: number, path2: number, reach: number): PathTable {
  const step = 1 / STEPS_PER_CYCLE;
  const last = kind === 'none' || kind === 'free' ? 0 : Math.ceil(reach / step) + 2;
  const samples = new Float64Array((last + 1) * STRIDE);
  const low = new Float64Array(8);
  const high = new Float64Array(8);
  const delta = 1e-4;
  for (let i = 0; i <= last; i++) {
    const row = samples.subarray(i * STRIDE, i * STRIDE + 8);
    exact(kind, i * step, path1, path2, row);
    exact(kind, i * step - delta, path1, path2, low);
    exact(kind, i * step + delta, path1, path2, high);
    for (let k = 0; k < 8; k++) samples[i * STRIDE + 8 + k] = (high[k] - low[k]) / (2 * delta);
  }
  return { kind, step, last, samples };
}

/** Hermite interpolation at p into out[0 .. 8). A real path has M(-p) = conj M(p). */
export function pathAt(table: PathTable, p: number, out: Float64Array): void {
  if (table.last === 0) {
    out.fill(0);
    out[0] = 1;
    return;
  }
  const position = Math.min(Math.abs(p) / table.step, table.last - 1e-9);
  const cell = Math.floor(position);
  const t = position - cell;
  const h00 = (1 + 2 * t) * (1 - t) * (1 - t);
  const h01 = 1 - h00;
  const h10 = t * (1 - t) * (1 - t) * table.step;
  const h11 = t * t * (t - 1) * table.step;
  const a = cell * STRIDE;
  const b = a + STRIDE;
  const { samples } = table;
  for (let k = 0; k < 8; k++)
    out[k] =
      h00 * samples[a + k] + h01 * samples[b + k] + h10 * samples[a + 8 + k] + h11 * samples[b + 8 + k];
  if (p < 0) {
    out[1] = -out[1];
    out[2] = -out[2];
    out[5] = -out[5];
    out[7] = -out[7];
  }
}
