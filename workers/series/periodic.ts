import { axisAngleDeg } from '../math/shape.ts';
import type { PeriodicError } from '../protocol/series.ts';
import { waveAt, waveValue, type Motion } from './motion-model.ts';

/** Moments of a period that are looked at for the ends of the swing. */
const MOMENTS = 360;

/**
 * Amplitude and axis of a wave. The axis is that of most movement; the amplitude half of peak to peak along it, harmonics
 * included, of the mount itself: the model's columns hold the mean over the exposure, its coefficients do not.
 */
export function swingOf(motion: Motion, wave: number): { amplitudePx: number; angleDeg: number } {
  const { spec, x, y } = motion;
  const from = waveAt(spec, wave);
  const { periodS, harmonics } = spec.waves[wave];
  let [xx, yy, xy] = [0, 0, 0];
  for (let i = from; i < from + 2 * harmonics; i++) {
    xx += x[i] * x[i];
    yy += y[i] * y[i];
    xy += x[i] * y[i];
  }
  const angleDeg = axisAngleDeg(xx - yy, 2 * xy);
  const [c, s] = [Math.cos((angleDeg * Math.PI) / 180), Math.sin((angleDeg * Math.PI) / 180)];
  const along = x.map((value, i) => c * value + s * y[i]);
  let [low, high] = [Infinity, -Infinity];
  for (let i = 0; i < MOMENTS; i++) {
    const value = waveValue(spec, wave, along, (periodS * i) / MOMENTS);
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return { amplitudePx: (high - low) / 2, angleDeg };
}

/** The largest wave with the errors that the draws of the motion show; null when there is none. */
export function periodicError(
  motion: Motion,
  draws: readonly Motion[],
  falseAlarms: readonly number[],
): PeriodicError | null {
  if (motion.spec.waves.length === 0) return null;
  const swings = motion.spec.waves.map((_, wave) => swingOf(motion, wave));
  const wave = swings.reduce((a, each, i) => (each.amplitudePx > swings[a].amplitudePx ? i : a), 0);
  const { amplitudePx, angleDeg } = swings[wave];
  const drawn = draws.map((draw) => ({
    ...swingOf(draw, wave),
    periodS: draw.spec.waves[wave].periodS,
  }));
  const spread = (values: number[], about: number) => Math.sqrt(meanSquare(values.map((v) => v - about)));
  return {
    amplitudePx: {
      value: amplitudePx,
      sigma: spread(
        drawn.map((d) => d.amplitudePx),
        amplitudePx,
      ),
    },
    periodS: {
      value: motion.spec.waves[wave].periodS,
      sigma: spread(
        drawn.map((d) => d.periodS),
        motion.spec.waves[wave].periodS,
      ),
    },
    angleDeg: {
      value: angleDeg,
      sigma: spread(
        drawn.map((d) => angleDeg + turnBetween(d.angleDeg, angleDeg)),
        angleDeg,
      ),
    },
    falseAlarm: falseAlarms[wave],
  };
}

/** Difference of two axes, [-90, 90). */
export const turnBetween = (aDeg: number, bDeg: number): number =>
  ((((aDeg - bDeg + 90) % 180) + 180) % 180) - 90;

const meanSquare = (values: number[]) =>
  values.reduce((sum, v) => sum + v * v, 0) / Math.max(values.length, 1);
