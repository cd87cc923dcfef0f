import { judgeExperiment } from '../../workers/experiments/judge.ts';
import type { Judgement, Told } from '../../workers/protocol/experiment.ts';
import type { Cause, Experiment, FrameReport } from '../../workers/protocol/report.ts';
import { createRandom, type Random } from '../../workers/simulate/random.ts';
import { shot, type Shot } from './frames.ts';

// Experiments with known truth, drawn as they may happen: which of two causes it is falls by the chance that the verdict gave
// it, sizes, air and the hands' own errors fall at random. What the judges then state is held against how often it is true.

export interface World {
  name: string;
  experiment: Experiment;
  causes: [Cause, Cause];
  draw(
    truth: Cause,
    random: Random,
    frame: (changes: Partial<Shot>) => FrameReport,
  ): { before: FrameReport; after: FrameReport[]; told?: Told };
}

const between = (random: Random, from: number, to: number): number => from + (to - from) * random.uniform();
/** Air that differs from frame to frame by an eighth (common practice, no source). */
const air = (random: Random, usual: number): number =>
  usual * Math.exp((0.12 / Math.SQRT2) * random.normal());
/** Steady drifts are two trails in three; the others come as they like. */
const STEADY = 0.65;
const gust = (random: Random, usual: number) => ({
  trailPx2: -usual * Math.log(Math.max(1e-3, random.uniform())),
  trailDeg: between(random, -90, 90),
});
const STEP_UM = 70;

const stepped = (
  name: string,
  causes: [Cause, Cause],
  of: (truth: Cause, random: Random) => Partial<Shot>,
  /** Nobody said how far: hands turn by half to twice as much, as it comes. */
  untold = false,
): World => ({
  name,
  experiment: 'refocus-step',
  causes,
  draw(truth, random, frame) {
    const usual = truth === 'seeing' ? between(random, 3.5, 6) : between(random, 2, 3.5);
    const first = of(truth, random);
    // Hands set a step to a tenth.
    const step = untold ? between(random, 0.5, 2.2) * STEP_UM : STEP_UM * (1 + 0.1 * random.normal());
    return {
      before: frame({ ...first, run: { ...first.run, seeingArcsec: air(random, usual) } }),
      after: [
        frame({
          ...first,
          positionUm: (first.positionUm ?? 0) + step,
          run: { ...first.run, seeingArcsec: air(random, usual) },
        }),
      ],
      told: { stepUm: untold ? null : STEP_UM },
    };
  },
});

const trails = (
  name: string,
  experiment: Experiment,
  factor: number,
  frames: number,
  rival: Cause,
): World => ({
  name,
  experiment,
  causes: ['trailing', rival],
  draw(truth, random, frame) {
    const trailPx2 = Math.exp(between(random, Math.log(0.3), Math.log(3)));
    const trailDeg = between(random, -90, 90);
    const exposureS = 20 * Math.sqrt(factor);
    const steady = random.uniform() < STEADY;
    const usual = between(random, 2, 3.5);
    const run = () => ({ seeingArcsec: air(random, usual) });
    const after = Array.from({ length: frames }, () => {
      if (truth !== 'trailing')
        return frame({ trailPx2: trailPx2 * (1 + 0.08 * random.normal()), trailDeg, exposureS, run: run() });
      if (!steady) return frame({ ...gust(random, trailPx2), exposureS, run: run() });
      return frame({
        trailPx2: factor * trailPx2 * (1 + 0.15 * random.normal()),
        trailDeg: trailDeg + 3 * random.normal(),
        exposureS,
        run: run(),
      });
    });
    return { before: frame({ trailPx2, trailDeg, run: run() }), after };
  },
});

const focusOrAir = (truth: Cause, random: Random): Partial<Shot> => ({
  positionUm:
    truth === 'focus' ? (random.uniform() < 0.5 ? -1 : 1) * between(random, 35, 90) : 8 * random.normal(),
});

export const WORLDS: World[] = [
  stepped('step: focus or air', ['focus', 'seeing'], focusOrAir),
  stepped('step of untold size: focus or air', ['focus', 'seeing'], focusOrAir, true),
  stepped('step: lean or air', ['tilt', 'seeing'], (truth, random) => {
    const [lean, turn] = [truth === 'tilt' ? between(random, 8, 20) : 1.5, between(random, 0, 2 * Math.PI)];
    return {
      run: { tiltUmPerMm: { x: lean * Math.cos(turn), y: lean * Math.sin(turn) } },
      positionUm: 10 * random.normal(),
    };
  }),
  trails('half the exposure', 'halve-exposure', 0.25, 4, 'astigmatism'),
  trails('next frame: tracking or coma', 'next-frame', 1, 1, 'coma'),
  trails('more frames: tracking or coma', 'more-frames', 1, 3, 'coma'),
  {
    name: 'next frame: air or focus',
    experiment: 'next-frame',
    causes: ['seeing', 'focus'],
    draw(truth, random, frame) {
      const usual = truth === 'seeing' ? between(random, 3.5, 6) : 2.5;
      const positionUm = truth === 'focus' ? between(random, 50, 90) : 0;
      const make = () => frame({ positionUm, run: { seeingArcsec: air(random, usual) } });
      return { before: make(), after: [make()] };
    },
  },
  {
    name: 'half the tube: focus or air',
    experiment: 'half-aperture',
    causes: ['focus', 'seeing'],
    draw(truth, random, frame) {
      const usual = truth === 'seeing' ? between(random, 3.5, 6) : between(random, 2, 3.5);
      const positionUm = truth === 'focus' ? between(random, 50, 100) : 0;
      // Half a disc of radius z / 2F px: it loses (4R/3π)² across the card's edge (elementary).
      const lost = (4 / (3 * Math.PI)) ** 2 * (positionUm / (2 * 4 * 3.8)) ** 2;
      const coveredDeg = between(random, -90, 90);
      const narrower = Math.sqrt(Math.max(0, positionUm ** 2 - (lost * 8 * (4 * 3.8) ** 2) / 2));
      return {
        before: frame({ positionUm, run: { seeingArcsec: air(random, usual) } }),
        after: [
          frame({
            positionUm: narrower,
            trailPx2: lost,
            trailDeg: coveredDeg + 90,
            run: { seeingArcsec: air(random, usual) },
          }),
        ],
        told: { coveredDeg },
      };
    },
  },
  {
    name: 'filter: air’s colours or astigmatism',
    experiment: 'change-filter',
    causes: ['dispersion', 'astigmatism'],
    draw(truth, random, frame) {
      const trailPx2 = Math.exp(between(random, Math.log(0.4), Math.log(3)));
      const trailDeg = between(random, -90, 90);
      const left = truth === 'dispersion' ? between(random, 0.05, 0.4) : 1 + 0.08 * random.normal();
      return {
        before: frame({ trailPx2, trailDeg, run: { seeingArcsec: air(random, 2.7) } }),
        after: [frame({ trailPx2: trailPx2 * left, trailDeg, run: { seeingArcsec: air(random, 2.7) } })],
        told: { refocused: true },
      };
    },
  },
];

export interface Drawn {
  truth: Cause;
  judgement: Judgement;
}

/** `count` experiments of a world; the verdict's confidence in the first cause is drawn as well, from a third to four fifths. */
export function drawn(world: World, count: number, seed: number): Drawn[] {
  const random = createRandom(seed);
  let frames = 0;
  return Array.from({ length: count }, () => {
    const confidence = between(random, 0.33, 0.8);
    const [cause, rival] = world.causes;
    const truth = random.uniform() < confidence ? cause : rival;
    const frame = (changes: Partial<Shot>) =>
      shot({ cause, rival, confidence, ...changes, seed: 1000 * seed + frames++ });
    const { before, after, told } = world.draw(truth, random, frame);
    return { truth, judgement: judgeExperiment(world.experiment, before, after, told) };
  });
}
