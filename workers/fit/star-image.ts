import type { Kernels } from '../wasm/kernels.ts';
import { COLOUR_SKEW } from './colour-spread.ts';
import { LOCAL } from './parameters.ts';
import type { Local } from './parameters.ts';
import type { FreePath } from './free-path.ts';
import { pathAt } from './path.ts';
import type { PathTable } from './path.ts';
import type { Plan } from './plan.ts';
import type { RoundBlur } from './round-blur.ts';
import { TERMS } from './wavefront.ts';

/** What is common to all stars of one evaluation. */
export interface Scene {
  plan: Plan;
  round: RoundBlur;
  path: PathTable;
  /** Takes the path's place where it is free. */
  free?: FreePath | null;
  /** Locals whose derivatives are wanted, ascending (those by x and y come with them); null for the value alone. */
  wanted: readonly number[] | null;
}

/** Images of one star in the kernels' memory: views valid until the next call. Rows are `plan.sideStride` long. */
export interface StarImages {
  /** Image of unit flux. */
  value: Float32Array;
  /** Derivatives with respect to `wanted`, in their order, then x and y. */
  derivatives: Float32Array[];
}

/**
 * Image of a star of unit flux whose chief ray falls at (dxPx, dyPx) from the stamp's middle pixel, with derivatives.
 * `local`: values in the order of LOCALS.
 */
export function starImages(
  { run, arena }: Kernels,
  scene: Scene,
  local: Float64Array,
  dxPx: number,
  dyPx: number,
): StarImages {
  const { plan } = scene;
  const wanted = scene.wanted ?? [];
  const phaseTerms = wanted.filter((index) => index < TERMS.length);
  arena.f32(plan.coefficients, TERMS.length).set(local.subarray(0, TERMS.length));
  arena.i32(plan.wanted, phaseTerms.length).set(phaseTerms);
  run.psfTransfers(plan.address, plan.coefficients, TERMS.length, plan.wanted, phaseTerms.length);

  const factorOf = (index: number) => plan.factors + 4 * index * plan.factorFloats;
  const others = wanted.filter((index) => index >= TERMS.length);
  const derived = scene.wanted !== null;
  const tables = [FACTOR.value, ...others, ...(derived ? [FACTOR.x, FACTOR.y] : [])];
  fillFactors(arena.f32(plan.factors, tables.length * plan.factorFloats), scene, tables, local, dxPx, dyPx);

  const imageBytes = 4 * plan.spec.sidePx * plan.sideStride;
  let images = 0;
  const make = (source: number, table: number) =>
    run.psfImage(plan.address, source, factorOf(table), plan.images + imageBytes * images++);
  make(0, 0);
  wanted.forEach((index) => {
    if (index < TERMS.length) make(1 + phaseTerms.indexOf(index), 0);
    else make(0, tables.indexOf(index));
  });
  if (derived) {
    make(0, tables.indexOf(FACTOR.x));
    make(0, tables.indexOf(FACTOR.y));
  }
  const view = (index: number) =>
    arena.f32(plan.images + index * imageBytes, plan.spec.sidePx * plan.sideStride);
  return { value: view(0), derivatives: Array.from({ length: images - 1 }, (_, index) => view(index + 1)) };
}

const FACTOR = { value: -1, x: -2, y: -3 };
const at = (name: Local) => LOCAL[name];

/** Complex factors by which the pupil's transfer function is multiplied, one table for each entry of `tables`. */
function fillFactors(
  out: Float32Array,
  { plan, round, path, free }: Scene,
  tables: number[],
  local: Float64Array,
  dxPx: number,
  dyPx: number,
): void {
  const { freqs, freqStride, step, factorFloats } = plan;
  const plane = freqs * freqStride;
  const motionX = local[at('motionX')];
  const motionY = local[at('motionY')];
  const m = new Float64Array(8);
  const turn = 2 * Math.PI;
  const { x: shiftX, y: shiftY } = plan.spec.optics.colourShiftPx ?? { x: 0, y: 0 };
  const spread = local[at('colourSpread')];
  for (let a = 0; a < freqs; a++)
    for (let side = 0; side < 2; side++)
      for (let b = side; b < freqs; b++) {
        const fx = (side ? -b : b) * step;
        const fy = a * step;
        if (free) {
          const from = 2 * (side * plane + a * freqStride + b);
          m[0] = free.value[from];
          m[1] = free.value[from + 1];
        } else pathAt(path, fx * motionX + fy * motionY, m);
        // Green light along the shift from red to blue: the second and third cumulant of its places.
        const turned = turn * (fx * shiftX + fy * shiftY);
        const bySpread = -(turned * turned) / 2;
        const third = (COLOUR_SKEW / 6) * turned ** 3 * Math.sqrt(spread);
        const phase = -turn * (fx * dxPx + fy * dyPx) + third * spread;
        const c = Math.cos(phase);
        const s = Math.sin(phase);
        const cell = a * freqStride + b;
        const smear = Math.exp(spread * bySpread);
        const value = round.value[cell] * smear;
        const re = m[0] * c - m[1] * s;
        const im = m[0] * s + m[1] * c;
        const place = 2 * side * plane + cell;
        for (let t = 0; t < tables.length; t++) {
          let toRe: number;
          let toIm: number;
          switch (tables[t]) {
            case FACTOR.value:
              toRe = value * re;
              toIm = value * im;
              break;
            case FACTOR.x:
              toRe = turn * fx * value * im;
              toIm = -turn * fx * value * re;
              break;
            case FACTOR.y:
              toRe = turn * fy * value * im;
              toIm = -turn * fy * value * re;
              break;
            case LOCAL.lnBlur:
              toRe = round.byLnBlur[cell] * smear * re;
              toIm = round.byLnBlur[cell] * smear * im;
              break;
            case LOCAL.core:
              toRe = round.byCore[cell] * smear * re;
              toIm = round.byCore[cell] * smear * im;
              break;
            case LOCAL.colourSpread:
              toRe = value * (bySpread * re - 1.5 * third * im);
              toIm = value * (bySpread * im + 1.5 * third * re);
              break;
            default: {
              const leg = tables[t] - LOCAL.leg1X;
              if (leg >= 0) {
                const by = free!.byLeg[leg >> 1];
                const from = 2 * (side * plane + a * freqStride + b);
                const along = value * (leg % 2 ? fy : fx);
                toRe = along * (by[from] * c - by[from + 1] * s);
                toIm = along * (by[from] * s + by[from + 1] * c);
                break;
              }
              // Motion by its vector (p = f . d) and by the path's own parameters.
              const vector = tables[t] === LOCAL.motionX || tables[t] === LOCAL.motionY;
              const from = vector ? 2 : tables[t] === LOCAL.path1 ? 4 : 6;
              const factor = value * (vector ? (tables[t] === LOCAL.motionX ? fx : fy) : 1);
              toRe = factor * (m[from] * c - m[from + 1] * s);
              toIm = factor * (m[from] * s + m[from + 1] * c);
            }
          }
          const to = t * factorFloats + place;
          out[to] = toRe;
          out[to + plane] = toIm;
        }
      }
  // fx = 0 counts once: the mirrored half has no such column.
  for (let t = 0; t < tables.length; t++)
    for (let a = 0; a < freqs; a++) {
      out[t * factorFloats + 2 * plane + a * freqStride] = 0;
      out[t * factorFloats + 3 * plane + a * freqStride] = 0;
    }
}
