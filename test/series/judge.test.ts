import { describe, expect, test } from 'vitest';
import type { JudgeOptions, MarkKind, RunJudgement, RunPoint } from '../../workers/protocol/run.ts';
import { airmass } from '../../workers/rig/air.ts';
import { altitudeDeg, sunAltitudeDeg } from '../../workers/rig/sky-clock.ts';
import { judgeRun, marksOf } from '../../workers/series/judge.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { makeNight, type Moment } from './nights.ts';
import type { Run } from './runs.ts';

// Each night is made with one thing happening at a known time; the rules must name it, and nothing else.

const NOTHING_TOLD: JudgeOptions = {
  latitudeDeg: null,
  longitudeDeg: null,
  limits: {},
  words: {},
  positions: {},
};
const judge = (
  at: (minutes: number, frame: number) => Partial<Moment>,
  run: Partial<Run> = {},
  options: Partial<JudgeOptions> = {},
): RunJudgement => judgeRun(makeNight(at, run).frames, { ...NOTHING_TOLD, ...options });
const kinds = ({ marks }: RunJudgement): MarkKind[] => marks.map(({ kind }) => kind);
const FOCUS_KINDS: MarkKind[] = ['focus-creep', 'focus-temperature', 'mirror-cooling'];
/** A frame a minute; widths `usual(minutes)` px times a random walk of `step` a frame and `scatter` from frame to frame. */
function wanderingAir(
  frames: number,
  seed: number,
  step: number,
  usual: (t: number) => number,
  scatter = 0.03,
): RunPoint[] {
  const random = createRandom(31 * seed);
  const plain = judgeRun(makeNight(() => ({}), { frames: 2 }).frames, NOTHING_TOLD).points[0];
  let walk = 0;
  return Array.from({ length: frames }, (_, i) => {
    walk += step * random.normal();
    const value = usual(i) * Math.exp(walk) * (1 + scatter * random.normal());
    const fwhmPx = { value, sigma: 0.005 * value };
    return { ...plain, timeMs: plain.timeMs + 60_000 * i, fwhmPx };
  });
}
const SEEDS = [1, 2, 3, 4, 5, 6, 7, 8];
/** A widened star by defocus: the two add in squares. */
const widened = (perMinute: number, minutes: number) => ({
  fwhmPx: Math.hypot(2.8, perMinute * minutes),
  hfdPx: Math.hypot(3, perMinute * minutes),
});

describe('quiet nights', () => {
  test.each(SEEDS)('nothing happens: nothing is told, every frame is good (seed %i)', (seed) => {
    const found = judge(() => ({}), { seed });
    expect(kinds(found)).toEqual([]);
    expect(found.kept.every(Boolean)).toBe(true);
    expect(found.headline).toBe('The mount holds: all 60 frames are good.');
  });
  test('a night that dithers is no night of cable snags, nor of a drift', () => {
    for (const seed of SEEDS) {
      const dither = createRandom(seed + 50);
      const steps = Array.from({ length: 61 }, () => [12 * dither.normal(), 12 * dither.normal()]);
      const found = judge(() => ({}), { seed, motion: (t) => steps[Math.floor(t / 60)] as [number, number] });
      expect(kinds(found)).toEqual([]);
    }
  });
  test('no frame, one frame, two frames', () => {
    expect(judgeRun([], NOTHING_TOLD).points).toEqual([]);
    const two = makeNight(() => ({}), { frames: 2 });
    expect(judgeRun(two.frames.slice(0, 1), NOTHING_TOLD).headline).toContain('the frame is good');
    expect(judgeRun(two.frames, NOTHING_TOLD).headline).toContain('all 2 frames are good');
  });
});

describe('air that wanders', () => {
  // A random walk of the seeing of 1, 2 and 4 % a frame: a line through it is always many of its scatters long.
  test.each([30, 60])(
    'of %i frames is told as focus or a cooling mirror in at most one night of twenty',
    (frames) => {
      let told = 0;
      let nights = 0;
      for (const step of [0.01, 0.02, 0.04])
        for (let seed = 1; seed <= 40; seed++, nights++) {
          const found = marksOf(
            wanderingAir(frames, seed, step, () => 2.8),
            'fwhmPx',
          );
          told += Number(found.some(({ kind }) => FOCUS_KINDS.includes(kind)));
        }
      // Binomial: 1/20 of 120 is 6, standard error 2.4; two of them above.
      expect(told / nights).toBeLessThan(0.05 + 2 * Math.sqrt((0.05 * 0.95) / nights));
    },
  );
  // Of all airs tried those that look most like a focus that goes one way: scatter and step for so many frames.
  test.each([
    [10, 0.01, 0.06],
    [14, 0.01, 0.05],
    [30, 0.03, 0.025],
    [30, 0.06, 0.04],
    [60, 0.06, 0.02],
    [120, 0.06, 0.01],
  ])(
    'of %i frames in the worst air, a scatter of %f and steps of %f, in no more either',
    (frames, scatter, step) => {
      const nights = 300;
      let told = 0;
      for (let seed = 1; seed <= nights; seed++) {
        const found = marksOf(
          wanderingAir(frames, 5000 + seed, step, () => 2.8, scatter),
          'fwhmPx',
        );
        told += Number(found.some(({ kind }) => FOCUS_KINDS.includes(kind)));
      }
      // Binomial, two standard errors: 7.5 %.
      expect(told / nights).toBeLessThan(0.05 + 2 * Math.sqrt((0.05 * 0.95) / nights));
    },
  );
  test.each([
    [60, 36],
    // 88 of a hundred, binomial: two standard errors below.
    [30, 31],
  ])('of %i frames does not hide a focus that creeps by a third', (frames, least) => {
    let told = 0;
    for (let seed = 1; seed <= 40; seed++) {
      const points = wanderingAir(frames, seed, 0.005, (t) => Math.hypot(2.8, (2.4 * t) / frames));
      told += Number(marksOf(points, 'fwhmPx').some(({ kind }) => kind === 'focus-creep'));
    }
    expect(told).toBeGreaterThanOrEqual(least);
  });
  test('a mirror that cools in the first hour of a long night is seen', () => {
    let told = 0;
    for (let seed = 1; seed <= 20; seed++) {
      const points = wanderingAir(240, seed, 0.003, (t) => 2.8 + 1.2 * Math.exp(-t / 25));
      told += Number(marksOf(points, 'fwhmPx').some(({ kind }) => kind === 'mirror-cooling'));
    }
    expect(told).toBeGreaterThanOrEqual(18);
  });
});

describe('focus', () => {
  test.each(SEEDS)('it follows the temperature (seed %i)', (seed) => {
    const found = judge((t) => ({ ...widened(0.04, t), temperatureC: 14 - t / 15 }), { seed });
    expect(kinds(found)).toEqual(['focus-temperature']);
    expect(found.marks[0].because).toMatch(/14\.0|13\.9/);
    expect(found.headline).toMatch(/Focus is moving with the temperature\.$/);
    // sqrt(2.8² + (0.04 t)²) is a quarter over 2.8 at t = 53 min: by then the limit is reached, the air scatters by 3 %.
    const firstDropped = found.kept.indexOf(false);
    expect(firstDropped).toBeGreaterThan(35);
  });
  test.each(SEEDS)('it creeps without a thermometer (seed %i)', (seed) => {
    const found = judge((t) => widened(0.04, t), { seed });
    expect(kinds(found)).toEqual(['focus-creep']);
    expect(found.next).toMatch(/Focus again/);
  });
  test('somebody focused in between: no trend is drawn across', () => {
    const found = judge((t) => ({ ...widened(0.04, t % 15), focusPosition: 1000 + Math.floor(t / 15) }));
    expect(kinds(found)).toEqual([]);
  });
  test.each(SEEDS)('a mirror cools in the first hour (seed %i)', (seed) => {
    const found = judge(
      (t) => ({ fwhmPx: 2.8 + 1.4 * Math.exp(-t / 25), hfdPx: 3 + 1.4 * Math.exp(-t / 25) }),
      { seed, frames: 120 },
    );
    expect(kinds(found)).toEqual(['mirror-cooling']);
    expect(found.marks[0].from).toBe(0);
    expect(found.marks[0].to).toBeLessThanOrEqual(75);
  });
});

describe('a sinking target', () => {
  const site = { latitudeDeg: 50, longitudeDeg: 9 };
  const pointing = { rightAscensionDeg: 290, declinationDeg: 10, ...site };
  const run = { frames: 150, startTime: '2026-10-17T20:00:00.000Z' };
  const thick = (t: number) => airmass(altitudeDeg(290, 10, site, Date.parse(run.startTime) + 60_000 * t));
  test.each(SEEDS.slice(0, 4))('the air explains its width (airmass^0.6) and its light (seed %i)', (seed) => {
    const over = (t: number) => (thick(t) / thick(0)) ** 0.6;
    const found = judge(
      (t) => ({
        fwhmPx: 2.8 * over(t),
        hfdPx: 3 * over(t),
        light: 10 ** (-0.4 * 0.25 * (thick(t) - thick(0))),
        pointing,
      }),
      { ...run, seed },
    );
    expect(kinds(found)).toEqual(['altitude']);
  });
});

describe('dew, haze, cloud', () => {
  /** Dew from the 25th minute on: light goes from the cores into a halo. */
  const dewy = (t: number) => Math.max(0, t - 25) / 35;
  test.each(SEEDS)('dew: stars fade and the halo grows (seed %i)', (seed) => {
    const found = judge((t) => ({ light: 1 - 0.4 * dewy(t), hfdPx: 3 * (1 + 0.08 * dewy(t)) }), { seed });
    expect(kinds(found)).toContain('dew');
    expect(found.marks.filter(({ kind }) => kind === 'dew')[0].from).toBeLessThan(40);
    expect(kinds(found)).not.toContain('cloud');
    expect(found.headline).toMatch(/Dew is settling/);
  });
  test.each(SEEDS)('the same without a halo is haze, or dew that begins (seed %i)', (seed) => {
    const found = judge((t) => ({ light: 1 - 0.4 * dewy(t) }), { seed });
    expect(kinds(found)).toEqual(['haze']);
  });
  test.each(SEEDS)('clouds tear and go (seed %i)', (seed) => {
    const random = createRandom(seed);
    const inCloud = (i: number) => i >= 20 && i < 28;
    const found = judge((_, i) => (inCloud(i) ? { light: 0.2 + 0.4 * random.uniform(), sky: 130 } : {}), {
      seed,
    });
    expect(kinds(found)).toEqual(['cloud']);
    expect(found.marks[0]).toMatchObject({ from: 20, to: 27, lasting: false });
    expect(found.kept.map((kept, i) => (kept ? -1 : i)).filter((i) => i >= 0)).toEqual([
      20, 21, 22, 23, 24, 25, 26, 27,
    ]);
    expect(found.reasons[23].join(' ')).toMatch(/of the light of the clear frames/);
  });
  test('a cloud so thick that no star is left', () => {
    const found = judge((_, i) => (i >= 40 ? { light: 0.001, fault: 'No star was found.' } : {}));
    expect(kinds(found)).toEqual(['cloud']);
    expect(found.marks[0]).toMatchObject({ from: 40, to: 59, lasting: true });
    expect(found.headline).toBe('The mount holds: 40 of 60 frames are good. Cloud is over it.');
  });
});

describe('the sky brightens', () => {
  const dawn = (t: number) => ({ sky: 100 * (1 + Math.exp((t - 52) / 3)) });
  test.each(SEEDS)('without a site: dawn, or the Moon (seed %i)', (seed) => {
    const found = judge(dawn, { seed });
    expect(kinds(found)).toEqual(['twilight']);
    expect(found.headline).toMatch(/Dawn, or the Moon, lights the sky\./);
  });
  test('with a site it is told by where the Sun stands', () => {
    const site = { latitudeDeg: 50, longitudeDeg: 9 };
    const told = (startTime: string) => judge(dawn, { startTime }, site);
    const sun = (utc: string) => sunAltitudeDeg(site, Date.parse(utc));
    expect(sun('2026-10-18T05:00:00Z')).toBeGreaterThan(-18);
    expect(told('2026-10-18T04:00:00.000Z').headline).toMatch(/Dawn is coming\./);
    expect(sun('2026-10-18T00:00:00Z')).toBeLessThan(-18);
    expect(kinds(told('2026-10-17T23:00:00.000Z'))).toEqual(['sky-light']);
  });
  test('dusk at the beginning; a camera that warms up is no light', () => {
    const dusk = judge((t) => ({ sky: 100 * (1 + Math.exp((8 - t) / 3)) }));
    expect(kinds(dusk)).toEqual(['twilight']);
    expect(dusk.marks[0].from).toBe(0);
    const night = makeNight(() => ({}));
    night.frames.forEach(([, frame], i) => (frame.sky!.levelAdu += 2 * i));
    expect(kinds(judgeRun(night.frames, NOTHING_TOLD))).toEqual([]);
  });
});

describe('the mount', () => {
  test.each(SEEDS)('a gust hits a frame or two (seed %i)', (seed) => {
    const found = judge(
      (_, i) => (i === 17 ? { elongation: 1.7 } : i === 40 || i === 41 ? { elongation: 1.5 } : {}),
      {
        seed,
      },
    );
    expect(found.marks.map(({ kind, from, to }) => [kind, from, to])).toEqual([
      ['gust', 17, 17],
      ['gust', 40, 41],
    ]);
    expect(found.kept.map((kept, i) => (kept ? -1 : i)).filter((i) => i >= 0)).toEqual([17, 40, 41]);
    expect(found.reasons[17][0]).toMatch(/times as long as wide/);
  });
  test('a windy night is one event', () => {
    const random = createRandom(3);
    const found = judge(() => ({ elongation: random.uniform() < 0.3 ? 1.4 + 0.4 * random.uniform() : 1.08 }));
    expect(kinds(found)).toEqual(['gust']);
    expect(found.marks[0].says).toMatch(/Wind/);
    expect(found.headline).toMatch(/^Tracking costs frames/);
  });
  test.each(SEEDS)('a cable snags: the field jumps and stays (seed %i)', (seed) => {
    const found = judge(() => ({}), { seed, motion: (t) => (t < 60 * 30 ? [0, 0] : [28, -19]) });
    expect(found.marks.map(({ kind, from }) => [kind, from])).toEqual([['snag', 30]]);
    // sqrt(28² + 19²) = 33.8 px.
    expect(found.marks[0].because).toMatch(/3[345] px/);
  });
  test('the side of the pier changes: seen by the field that stands on its head', () => {
    const found = judge(() => ({}), { flipAt: 30 });
    expect(found.marks.map(({ kind, from }) => [kind, from])).toEqual([['pier-side', 30]]);
  });
  test('the side of the pier changes: told by the header', () => {
    const found = judge((_, i) => ({ pointing: { pierSide: i < 20 ? 'east' : 'west' } }));
    expect(found.marks.map(({ kind, from }) => [kind, from])).toEqual([['pier-side', 20]]);
  });
  test.each(SEEDS)('a slow drift would streak the stack (seed %i)', (seed) => {
    const found = judge(() => ({}), { seed, motion: (t) => [t / 100, t / 200] });
    expect(kinds(found)).toEqual(['slow-drift']);
    // sqrt(0.6² + 0.3²) = 0.67 px a minute, 59 steps: 39.6 px.
    expect(found.marks[0].because).toMatch(/^0\.7 px a frame, (39|40) px in all/);
    expect(found.next).toMatch(/^Nudge the pointing/);
  });
  test('the target leaves the frame', () => {
    const found = judge(() => ({}), { motion: (t) => [t / 6, 0] });
    expect(kinds(found)).toContain('leaving');
    // 3540 s / 6 = 590 px of 1936: 69.5 % of the field is left.
    expect(found.marks.find(({ kind }) => kind === 'leaving')!.because).toMatch(/^(69|70) %/);
    expect(found.headline).toMatch(/The target is leaving the frame\.$/);
  });
});

describe('limits and words', () => {
  test('a limit that is moved moves the frames with it, and one taken back follows the run again', () => {
    const night = makeNight((t) => widened(0.04, t));
    const own = judgeRun(night.frames, NOTHING_TOLD);
    const strict = judgeRun(night.frames, { ...NOTHING_TOLD, limits: { sizePx: 2.9 } });
    const off = judgeRun(night.frames, { ...NOTHING_TOLD, limits: { sizePx: null } });
    const wide = (limit: number) => own.points.filter(({ fwhmPx }) => fwhmPx!.value > limit).length;
    expect(strict.kept.filter((kept) => !kept)).toHaveLength(wide(2.9));
    expect(off.kept.every(Boolean)).toBe(true);
    expect(strict.ownLimits).toEqual(own.limits);
  });
  test('what the person says of a frame wins over every limit', () => {
    const night = makeNight((_, i) => (i === 5 ? { elongation: 2 } : {}));
    const [key5, key6] = [night.frames[5][0], night.frames[6][0]];
    const found = judgeRun(night.frames, { ...NOTHING_TOLD, words: { [key5]: 'keep', [key6]: 'drop' } });
    expect([found.kept[5], found.kept[6]]).toEqual([true, false]);
    expect(found.reasons[5]).toHaveLength(1);
  });
  test('a focus run drops no frame for its size', () => {
    const night = makeNight((_, i) => ({ ...widened(0.5, Math.abs(i - 4)), focusPosition: 100 + i }), {
      frames: 9,
    });
    expect(judgeRun(night.frames, NOTHING_TOLD).kept.every(Boolean)).toBe(true);
  });
  test('stars that optics make long in every frame do not drop them all', () => {
    expect(judge(() => ({ elongation: 1.45 })).kept.every(Boolean)).toBe(true);
  });
});

describe('wide stars without a cause', () => {
  // A focuser that slips at once: stars half as wide again from the 40th minute on, by no even growth.
  test('are said where they cost most frames, and focus is the next move', () => {
    const found = judge((t) => ({ fwhmPx: t < 40 ? 2.8 : 4.2, hfdPx: t < 40 ? 3 : 4.5 }));
    expect(found.headline).toMatch(/In \d\d the stars are too wide\.$/);
    expect(found.next).toMatch(/Focus again/);
  });
});

describe('a focus run', () => {
  // Stars out of focus are wide, faint and, with astigmatism, long: a hyperbola in width, half the light, elongation 1.5.
  const stepped = (t: number) => {
    const off = (t - 4) / 4;
    return {
      fwhmPx: Math.hypot(2.8, 9 * off),
      elongation: 1 + 0.5 * Math.abs(off),
      light: 1 - 0.5 * Math.abs(off),
    };
  };
  test('proposes no frame to be left out, whether the file or a hand tells the positions', () => {
    const night = makeNight((t) => stepped(t), { frames: 9 });
    const typed = Object.fromEntries(night.frames.map(([key], i) => [key, 0.25 * i]));
    const silent = judgeRun(night.frames, NOTHING_TOLD);
    expect(silent.kept.filter(Boolean).length).toBeLessThan(6);
    const told = judgeRun(night.frames, { ...NOTHING_TOLD, positions: typed });
    expect(told.kept).toEqual(night.frames.map(() => true));
    expect(told.marks).toEqual([]);
    // Who sets a limit all the same has it.
    const strict = judgeRun(night.frames, { ...NOTHING_TOLD, positions: typed, limits: { sizePx: 4 } });
    expect(strict.kept.filter(Boolean).length).toBeLessThan(6);
  });
});
