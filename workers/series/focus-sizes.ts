import type { FocusSizes } from '../protocol/focus-run.ts';
import { hfdAt, P, type FocusModel } from './focus-model.ts';

/** Corner of the sensor in half-diagonals. */
export interface Corner {
  x: number;
  y: number;
}

const SIDE = 7;
const CURVE_POINTS = 81;

/** Mean of the squared sizes over the sensor. */
function meanSquare(model: FocusModel, theta: Float64Array, position: number, corner: Corner): number {
  let sum = 0;
  for (let i = 0; i < SIDE; i++)
    for (let j = 0; j < SIDE; j++) {
      const [u, v] = [(2 * i + 1) / SIDE - 1, (2 * j + 1) / SIDE - 1];
      sum += hfdAt(model, theta, position, u * corner.x, v * corner.y) ** 2;
    }
  return sum / SIDE ** 2;
}

/** Position with the smallest stars over the whole sensor: a coarse look, then golden sections. */
export function compromise(model: FocusModel, theta: Float64Array, corner: Corner): number {
  const focus = theta[P.focus];
  const reach = Math.abs(theta[P.tiltX]) + Math.abs(theta[P.tiltY]) + Math.abs(theta[P.curvature]) / 2 + 1e-9;
  const cost = (position: number) => meanSquare(model, theta, position, corner);
  let best = focus;
  for (let k = -10; k <= 10; k++) {
    const position = focus + (k / 10) * reach;
    if (cost(position) < cost(best)) best = position;
  }
  const golden = (Math.sqrt(5) - 1) / 2;
  let [low, high] = [best - reach / 10, best + reach / 10];
  for (let round = 0; round < 40; round++) {
    const [left, right] = [high - golden * (high - low), low + golden * (high - low)];
    if (cost(left) < cost(right)) high = right;
    else low = left;
  }
  return (low + high) / 2;
}

/** Sizes at the compromise focus of this surface. */
export function sizesOf(model: FocusModel, theta: Float64Array, corner: Corner): FocusSizes {
  const position = compromise(model, theta, corner);
  const at = (x: number, y: number) => hfdAt(model, theta, position, x * corner.x, y * corner.y);
  return {
    centreHfdPx: at(0, 0),
    cornersHfdPx: (at(-1, -1) + at(1, -1) + at(-1, 1) + at(1, 1)) / 4,
  };
}

/** The same surface without its lean, or flat. */
export function without(theta: Float64Array, parts: ('tilt' | 'curvature')[]): Float64Array {
  const changed = Float64Array.from(theta);
  if (parts.includes('tilt')) changed[P.tiltX] = changed[P.tiltY] = 0;
  if (parts.includes('curvature')) changed[P.curvature] = 0;
  return changed;
}

/** The centre's size over the positions photographed, a tenth of the run beyond its ends. */
export function centreCurve(model: FocusModel, theta: Float64Array): { position: number; hfdPx: number }[] {
  const first = Math.min(...model.positions);
  const last = Math.max(...model.positions);
  return Array.from({ length: CURVE_POINTS }, (_, k) => {
    const position = first + (last - first) * ((1.2 * k) / (CURVE_POINTS - 1) - 0.1);
    return { position, hfdPx: hfdAt(model, theta, position, 0, 0) };
  });
}
