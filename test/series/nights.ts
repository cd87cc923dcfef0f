import type { Pointing } from '../../workers/protocol/frame.ts';
import type { RunFrame } from '../../workers/protocol/run.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { makeRun, type Run } from './runs.ts';

// Nights as records: the star lists of a run with known motion, and over them what air, focus, dew and cloud would do.

export interface Moment {
  fwhmPx: number;
  hfdPx: number;
  elongation: number;
  /** Light of the stars, 1 = clear. */
  light: number;
  /** Light of the sky, electrons a pixel. */
  sky: number;
  temperatureC: number | null;
  focusPosition: number | null;
  pointing: Partial<Pointing> | null;
  fault: string | null;
}
const PLAIN: Moment = {
  fwhmPx: 2.8,
  hfdPx: 3,
  elongation: 1.08,
  light: 1,
  sky: 100,
  temperatureC: null,
  focusPosition: null,
  pointing: null,
  fault: null,
};
/** How much the air changes from frame to frame: 3 % of the width, 2 % of the light (a calm, clear night). */
const AIR = 0.03;
const CLEAR = 0.02;
const READ_NOISE2 = 9;
const OFFSET = 640;

/** `at(minutes, frame)`: what differs from a plain night. */
export function makeNight(
  at: (minutes: number, frame: number) => Partial<Moment>,
  run: Partial<Run> = {},
): { frames: [string, RunFrame][]; minutes: number[] } {
  const made = makeRun({ frames: 60, cadenceS: 60, exposureS: 30, stars: 60, ...run });
  const random = createRandom((run.seed ?? 1) + 900);
  const minutes: number[] = [];
  const frames = made.records.map((record, i): [string, RunFrame] => {
    minutes.push((i * made.run.cadenceS) / 60);
    const moment = { ...PLAIN, ...at(minutes[i], i) };
    const breath = 1 + AIR * random.normal();
    const light = moment.light * (1 + CLEAR * random.normal());
    // Faint stars drown as light is lost or the sky grows: counts fall about as the square root of the light.
    const depth = light / Math.sqrt(moment.sky / PLAIN.sky);
    const keep = Math.round(record.stars.count * Math.min(1, depth ** 0.5));
    for (const [name, column] of Object.entries(record.stars))
      if (typeof column !== 'number')
        (record.stars as never as Record<string, unknown>)[name] = column.slice(0, keep);
    record.stars.count = keep;
    record.stars.fluxAdu = record.stars.fluxAdu.map((flux) => flux * light);
    const estimate = (value: number, share: number) => ({ value, sigma: share * value });
    record.report.sensor = {
      fwhmPx: estimate(moment.fwhmPx * breath, 0.005),
      hfdPx: estimate(moment.hfdPx * breath * (1 + 0.004 * random.normal()), 0.005),
      elongation: estimate(Math.max(1, moment.elongation + 0.02 * random.normal()), 0.01),
      angleDeg: { value: 30, sigma: 5 },
    };
    record.report.stars = { detected: keep, measured: keep, saturated: 0 };
    if (moment.fault) record.report.fault = { code: 'too-few-stars', message: moment.fault };
    record.meta.temperatureC = moment.temperatureC;
    record.meta.focusPosition = moment.focusPosition;
    if (moment.pointing) record.meta.pointing = { ...NO_POINTING, ...moment.pointing };
    const name = record.report.file;
    return [
      name,
      {
        format: 1,
        name,
        sizeBytes: 4e6,
        changedMs: 0,
        record,
        fault: null,
        sky: {
          levelAdu: OFFSET + moment.sky + 0.3 * random.normal(),
          noiseAdu: Math.sqrt(READ_NOISE2 + moment.sky) * (1 + 0.003 * random.normal()),
        },
      },
    ];
  });
  return { frames, minutes };
}

const NO_POINTING: Pointing = {
  rightAscensionDeg: null,
  declinationDeg: null,
  northDeg: null,
  eastDeg: null,
  orientationFrom: null,
  arcsecPerPx: null,
  latitudeDeg: null,
  longitudeDeg: null,
  pierSide: null,
};
