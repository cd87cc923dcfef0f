import type { FocusTilt } from '../../workers/protocol/focus-run.ts';
import { adjust, clockHour, moveSigmas, type Adjuster } from '../../workers/rig/adjuster.ts';
import type { PlatePoint } from '../charts/adjuster-plate.ts';
import { decimalsFor, plain, withError } from '../format/quantity.ts';

/** One screw or shim, in the words of the table and of the drawing. */
export interface AdjusterLine extends PlatePoint {
  place: string;
  /** "wider by 52 ± 6 µm", or the thickness of a shim. */
  gap: string;
  /** "0.10 ± 0.01 turn"; null for shims. */
  turn: string | null;
}

/** A movement below two standard errors is none, as elsewhere on the page. */
const SURE = 2;

/** "12 o'clock", "half past 3" as "3:30": a place on the clock to the quarter of an hour. */
function clockPlace(atDeg: number): string {
  const quarters = Math.round(4 * clockHour(atDeg));
  const hour = Math.floor(quarters / 4) % 12 || 12;
  const minutes = 15 * (quarters % 4);
  return minutes === 0 ? `${hour} o’clock` : `${hour}:${minutes}`;
}

/** What each point of the adjuster must give to take the tilt out, and the focus that shims cost, µm. */
export function adjusterLines(
  { vector }: Pick<FocusTilt, 'vector'>,
  adjuster: Adjuster,
): { lines: AdjusterLine[]; refocusUm: number } {
  const { points, refocusUm } = adjust({ x: vector.x.value, y: vector.y.value }, adjuster);
  const sigmas = moveSigmas(vector, adjuster, points);
  const shims = adjuster.pitchMm === null;
  const lines = points.map((point, k): AdjusterLine => {
    const value = shims ? point.shimUm : point.moveUm;
    const sigma = sigmas[k];
    const way = Math.abs(value) <= SURE * sigma ? 'stay' : value > 0 ? 'out' : 'in';
    const size = { value: Math.abs(value), sigma };
    const turns = point.turns === null ? null : Math.abs(point.turns);
    const turnSigma = adjuster.pitchMm === null ? 0 : sigma / (1000 * adjuster.pitchMm);
    const side = value > 0 ? 'wider' : 'narrower';
    return {
      atDeg: point.atDeg,
      name: String(k + 1),
      way,
      place: clockPlace(point.atDeg),
      gap: shims
        ? value === 0
          ? 'nothing'
          : `${withError(size)} µm thick`
        : way === 'stay'
          ? `by this run ${plain(value, decimalsFor(sigma))} ± ${plain(sigma, decimalsFor(sigma))} µm: no more than its error`
          : `gap ${side} by ${withError(size)} µm`,
      turn:
        turns === null
          ? null
          : way === 'stay'
            ? 'leave it as it is'
            : `${withError({ value: turns, sigma: turnSigma })} turn (${plain(360 * turns, 0)}°)`,
      words: shims
        ? value === 0
          ? 'none'
          : `${plain(value, decimalsFor(sigma))} µm`
        : way === 'stay'
          ? 'leave'
          : `${side}\n${plain(turns ?? 0, 2)} turn`,
    };
  });
  return { lines, refocusUm };
}

/** Whether the tilt is more than its error leaves open: two standard errors, as elsewhere on the page. */
export const tiltShows = ({ umPerMm }: Pick<FocusTilt, 'umPerMm'>): boolean =>
  umPerMm.value > 2 * umPerMm.sigma;
