import { medianMisfit } from './search.ts';
import type { FieldFitter, FitOptions, FitResult } from './levenberg.ts';
import type { Optics } from './optics.ts';
import type { StarPool } from './star-pool.ts';

/** Obstructions that are tried: none as in a refractor or lens, and those of common reflectors. */
const TRIED = [0, 0.13, 0.22, 0.3, 0.38, 0.46];
const STARS = 30;
const ITERATIONS = 4;
/** What the stars must gain before the assumed value is given up: as much as two parameters' worth. */
const LEAST_GAIN = 20;

/**
 * The obstruction that the stars themselves ask for, when nothing gives it: the field is refitted a little at each of a
 * few values and the cheapest wins, refined by a parabola where it lies inside. A wrong one would be made up for by
 * round blur (up to a fifth of it where diffraction is wide) and by a small false path. Returns the assumed optics when
 * the stars do not care; the pool is left with the optics returned.
 */
export async function findObstruction(
  pool: StarPool,
  fitter: FieldFitter,
  leader: FitResult,
  assumed: Optics,
  options: FitOptions,
): Promise<{ optics: Optics; fitted: boolean }> {
  const trial: FitOptions = {
    ...options,
    stars: options.stars.slice(0, STARS),
    iterations: ITERATIONS,
    warmUp: 1,
  };
  // Each value starts from its neighbour's solution, outwards from the assumed one: far ones would not converge else.
  const costs = new Array<number>(TRIED.length).fill(Infinity);
  const middle = TRIED.findIndex((value) => value >= assumed.obstruction);
  const walk = async (indices: number[]) => {
    let { state } = leader;
    for (const index of indices) {
      await pool.setOptics({ ...assumed, obstruction: TRIED[index] });
      const result = await fitter.fit(state, leader.shape, trial);
      costs[index] = result.cost;
      state = result.state;
    }
  };
  const all = TRIED.map((_, index) => index);
  await walk(all.slice(middle));
  await walk(all.slice(0, middle).reverse());
  await pool.setOptics(assumed);
  const usual = (await fitter.fit(leader.state, leader.shape, trial)).cost;
  const low = costs.indexOf(Math.min(...costs));
  const scale = Math.max(1, medianMisfit(leader));
  // The largest value tried is no minimum: something else widens the rings there.
  if (low === TRIED.length - 1 || usual - costs[low] < LEAST_GAIN * scale)
    return { optics: assumed, fitted: false };
  // Secondaries below a sixth hardly exist: where none at all does as well, there is none.
  const none = costs[0] - costs[low] < LEAST_GAIN * scale;
  const optics = { ...assumed, obstruction: none ? 0 : vertex(low, costs) };
  await pool.setOptics(optics);
  return { optics, fitted: true };
}

/** Lowest point of the parabola through the best value and its neighbours, in the square of the obstruction (area). */
function vertex(low: number, costs: number[]): number {
  const [x0, x1, x2] = [low - 1, low, low + 1].map((i) => TRIED[i] ** 2);
  const [y0, y1, y2] = [low - 1, low, low + 1].map((i) => costs[i]);
  const left = (y1 - y0) / (x1 - x0);
  const right = (y2 - y1) / (x2 - x1);
  const bend = (right - left) / (x2 - x0);
  if (!(bend > 0)) return TRIED[low];
  return Math.sqrt(Math.min(x2, Math.max(x0, (x0 + x1) / 2 - left / (2 * bend))));
}
