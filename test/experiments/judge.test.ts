import { describe, expect, test } from 'vitest';
import { HOW_TO } from '../../workers/experiments/how-to.ts';
import { judgeExperiment } from '../../workers/experiments/judge.ts';
import { turnsFor } from '../../workers/experiments/screw-turn.ts';
import type { FrameReport } from '../../workers/protocol/report.ts';
import { shot } from './frames.ts';

// Truth is how the frames were drawn; what each experiment must show follows from how things move, said beside each.

const sum = (odds: Record<string, number | undefined>) =>
  Object.values(odds).reduce<number>((total, p) => total + (p ?? 0), 0);

describe('a step of the focus', () => {
  const undecided = { cause: 'focus', rival: 'seeing', confidence: 0.5 } as const;
  const STEP = 70;

  test.each([1, 2, 3, 4])(
    'a defocused frame is told from one wide by air, and its side of focus (%i)',
    (seed) => {
      for (const defocus of [55, -55]) {
        const before = shot({ ...undecided, positionUm: defocus, seed });
        const after = shot({ ...undecided, positionUm: defocus + STEP, seed: seed + 50 });
        const judgement = judgeExperiment('refocus-step', before, [after], { stepUm: STEP });
        expect(judgement.after.focus).toBeGreaterThan(0.9);
        expect(sum(judgement.after)).toBeCloseTo(1, 9);
        // Positive = the sensor lies behind the focal surface, farther from the optics.
        expect(judgement.reasons[0]).toMatch(defocus > 0 ? /behind focus/ : /before focus/);
      }
      const air = { run: { seeingArcsec: 5.2 } };
      const before = shot({ ...undecided, ...air, seed });
      const after = shot({ ...undecided, ...air, positionUm: STEP, seed: seed + 50 });
      expect(judgeExperiment('refocus-step', before, [after], { stepUm: STEP }).after.seeing).toBeGreaterThan(
        0.9,
      );
    },
  );

  test.each([1, 2, 3])(
    'a step that lands in focus, or as far out on the other side, decides as well (%i)',
    (seed) => {
      for (const rival of ['seeing', 'astigmatism', 'coma'] as const)
        for (const stepUm of [60, 120]) {
          const before = shot({ ...undecided, rival, positionUm: -60, seed });
          const after = shot({ ...undecided, rival, positionUm: stepUm - 60, seed: seed + 50 });
          expect(judgeExperiment('refocus-step', before, [after], { stepUm }).after.focus).toBeGreaterThan(
            0.9,
          );
        }
    },
  );

  test.each([1, 2, 3])('a step of untold size: shrinking stars tell, growing ones do not (%i)', (seed) => {
    const untold = (positionUm: number, step: number) =>
      judgeExperiment(
        'refocus-step',
        shot({ ...undecided, positionUm, seed }),
        [shot({ ...undecided, positionUm: positionUm + step, seed: seed + 50 })],
        {},
      ).after.focus!;
    // Nothing but a defocus that is taken back makes stars smaller by far more than the air can.
    for (const step of [60, 70]) expect(untold(-60, step)).toBeGreaterThan(0.8);
    // k (s² + 2 s z) grows with a large s as well as with z: an untold step leaves the odds where they were (elementary).
    for (const z of [40, 60])
      for (const step of [60, 70, 90, 120]) {
        expect(untold(z, step)).toBeGreaterThan(0.3);
        expect(untold(z, step)).toBeLessThan(0.75);
      }
  });

  test('the defocus of the first frame in micrometres, and the lean', () => {
    for (const z of [-90, -55, -30, 0, 30, 55, 90])
      for (const lean of [0, 14]) {
        const calm = { ...undecided, run: { tiltUmPerMm: { x: lean, y: 0 }, seeingChange: 0 } };
        const frames = [shot({ ...calm, positionUm: z }), shot({ ...calm, positionUm: z + STEP, seed: 5 })];
        const { reasons } = judgeExperiment('refocus-step', frames[0], [frames[1]], { stepUm: STEP });
        const [, far, side] = /lay (\d+) ± \d+ µm (behind|before)/.exec(reasons[0]) ?? [null, '0', 'behind'];
        // A sensor mm of 3.7 to either side leans by 52 µm: the cells at the edge are twice as far off as the step.
        expect(Math.abs((side === 'behind' ? 1 : -1) * Number(far) - z)).toBeLessThan(8);
        expect(
          Math.abs(Number(/frames: ([−\d.]+) µm/.exec(reasons[1])![1].replace('−', '-')) - lean),
        ).toBeLessThan(3);
      }
  });

  test('a lean shows its direction', () => {
    const run = { tiltUmPerMm: { x: 14, y: -6 } };
    const told = { cause: 'tilt', rival: 'seeing', confidence: 0.6, run } as const;
    const judgement = judgeExperiment(
      'refocus-step',
      shot({ ...told }),
      [shot({ ...told, positionUm: STEP, seed: 8 })],
      { stepUm: STEP },
    );
    expect(judgement.after.tilt).toBeGreaterThan(0.95);
    const [, x, y] = /lean .*: ([−\d.]+) .*right, ([−\d.]+) downwards/.exec(judgement.reasons[1])!;
    expect(Number(x) / 14).toBeCloseTo(1, 0);
    expect(Number(y.replace('−', '-'))).toBeLessThan(-3);
  });

  test('without focal length or aperture it is void and says what to tell', () => {
    const before = shot({ ...undecided });
    before.frame!.apertureMm = null;
    const judgement = judgeExperiment('refocus-step', before, [before], { stepUm: STEP });
    expect(judgement.void).toMatch(/aperture/);
    expect(judgement.after).toEqual(judgement.before);
  });
});

describe('half the exposure', () => {
  const undecided = { cause: 'trailing', rival: 'astigmatism', confidence: 0.5 } as const;
  const four = (make: (i: number) => FrameReport) => [0, 1, 2, 3].map(make);

  test('a steady drift falls to a quarter in the second moments', () => {
    const before = shot({ ...undecided, trailPx2: 1.2, trailDeg: 20 });
    const after = four((i) =>
      shot({ ...undecided, exposureS: 10, trailPx2: 0.3, trailDeg: 20, seed: 20 + i }),
    );
    const judgement = judgeExperiment('halve-exposure', before, after);
    expect(judgement.after.trailing).toBeGreaterThan(0.98);
    expect(judgement.sentence).toMatch(/tracking/);
  });

  test('gusts that come and go are tracking too', () => {
    const before = shot({ ...undecided, trailPx2: 1.2, trailDeg: 20 });
    const after = four((i) =>
      shot({
        ...undecided,
        exposureS: 10,
        trailPx2: [0, 1.5, 0.1, 0.7][i],
        trailDeg: [0, 80, 30, -50][i],
        seed: 20 + i,
      }),
    );
    expect(judgeExperiment('halve-exposure', before, after).after.trailing).toBeGreaterThan(0.95);
  });

  test('what stays as it is belongs to the optics', () => {
    const before = shot({ ...undecided, trailPx2: 1.2, trailDeg: 20 });
    const after = four((i) =>
      shot({ ...undecided, exposureS: 10, trailPx2: 1.2, trailDeg: 20, seed: 20 + i }),
    );
    expect(judgeExperiment('halve-exposure', before, after).after.astigmatism).toBeGreaterThan(0.95);
  });

  test('the same exposure again is void', () => {
    const before = shot({ ...undecided });
    expect(judgeExperiment('halve-exposure', before, [before]).void).toMatch(/exposure/);
  });
});

describe('nothing touched', () => {
  const undecided = { cause: 'trailing', rival: 'coma', confidence: 0.5 } as const;

  test('a trail that is gone in the next frame was no optics', () => {
    const before = shot({ ...undecided, trailPx2: 1.5, trailDeg: -40 });
    const after = [shot({ ...undecided, seed: 30 })];
    expect(judgeExperiment('next-frame', before, after).after.trailing).toBeGreaterThan(0.95);
  });

  test('one that is there again decides little: a steady drift does the same', () => {
    const before = shot({ ...undecided, trailPx2: 1.5, trailDeg: -40 });
    const after = [shot({ ...undecided, trailPx2: 1.5, trailDeg: -40, seed: 30 })];
    const { after: odds } = judgeExperiment('next-frame', before, after);
    expect(odds.coma).toBeGreaterThan(0.5);
    expect(odds.coma).toBeLessThan(0.8);
  });

  test('more frames add up', () => {
    const before = shot({ ...undecided, trailPx2: 1.5, trailDeg: -40 });
    const frames = [0, 1, 2, 3].map((i) =>
      shot({ ...undecided, trailPx2: 1.5, trailDeg: -40, seed: 30 + i }),
    );
    const one = judgeExperiment('more-frames', before, frames.slice(0, 1)).after.coma!;
    expect(judgeExperiment('more-frames', before, frames).after.coma!).toBeGreaterThan(one);
  });

  test('over the pier: what is built in stays, what sags changes', () => {
    const lean = {
      cause: 'tilt',
      rival: 'trailing',
      confidence: 0.6,
      run: { tiltUmPerMm: { x: 14, y: 0 } },
    } as const;
    const sagged = { ...lean, run: { tiltUmPerMm: { x: -14, y: 6 } } };
    const judge = (after: FrameReport) =>
      judgeExperiment('other-pier-side', shot({ ...lean, positionUm: 60 }), [after]).reasons[0];
    expect(judge(shot({ ...lean, positionUm: 60, seed: 4 }))).toMatch(/stayed/);
    expect(judge(shot({ ...sagged, positionUm: 60, seed: 4 }))).toMatch(/sags/);
  });
});

describe('the camera turned by a quarter', () => {
  // Slightly outside focus, so that one side of the picture is larger.
  const tilted = (x: number, y: number, seed = 1) =>
    shot({
      cause: 'tilt',
      rival: 'curvature',
      confidence: 0.7,
      positionUm: 60,
      run: { tiltUmPerMm: { x, y } },
      seed,
    });
  const before = tilted(16, 0);

  test('what stays in the picture leans in the camera', () => {
    const judgement = judgeExperiment('rotate-camera', before, [tilted(16, 0, 5)], { cameraTurnDeg: 90 });
    expect(judgement.sentence).toMatch(/leans in the camera/);
    expect(judgement.after.tilt).toBeGreaterThan(judgement.before.tilt!);
  });

  test('what turns backwards in the picture belongs to the tube', () => {
    // The camera turned by +90 degrees: a direction of the tube that lay along +x now lies along -y of the picture.
    const judgement = judgeExperiment('rotate-camera', before, [tilted(0, -16, 5)], { cameraTurnDeg: 90 });
    expect(judgement.sentence).toMatch(/belongs to the tube/);
  });

  test('what does neither is a loose clamp', () => {
    const judgement = judgeExperiment('rotate-camera', before, [tilted(-14, 2, 5)], { cameraTurnDeg: 90 });
    expect(judgement.sentence).toMatch(/clamp/);
  });

  test('an untold turn is void', () => {
    expect(judgeExperiment('rotate-camera', before, [before]).void).toMatch(/turned/);
  });
});

describe('half of the tube covered', () => {
  const undecided = { cause: 'focus', rival: 'seeing', confidence: 0.5 } as const;

  test('half a disc is long along the edge of the card; air stays round', () => {
    const before = shot({ ...undecided, positionUm: 90 });
    // Half a disc: variance R²/4 along, R²/4 - (4R/3π)² across (elementary); R = z / 2F in px.
    const radius = 90 / (2 * 4 * 3.8);
    const lost = (4 / (3 * Math.PI)) ** 2 * radius ** 2;
    const after = shot({ ...undecided, positionUm: 62, trailPx2: lost, trailDeg: 30, seed: 6 });
    expect(judgeExperiment('half-aperture', before, [after]).after.focus).toBeGreaterThan(0.9);
    const same = shot({ ...undecided, run: { seeingArcsec: 6 } });
    const still = shot({ ...undecided, run: { seeingArcsec: 6 }, seed: 6 });
    expect(judgeExperiment('half-aperture', same, [still]).after.seeing).toBeGreaterThan(0.9);
  });
});

describe('another filter', () => {
  const undecided = { cause: 'dispersion', rival: 'astigmatism', confidence: 0.5 } as const;
  const before = shot({ ...undecided, trailPx2: 1.2, trailDeg: 70 });

  test('without focusing again it is void', () => {
    expect(judgeExperiment('change-filter', before, [before], { refocused: false }).void).toMatch(/focus/);
  });

  test('what goes with the colours is the air', () => {
    const after = [shot({ ...undecided, trailPx2: 0.1, trailDeg: 70, seed: 3 })];
    expect(
      judgeExperiment('change-filter', before, after, { refocused: true }).after.dispersion,
    ).toBeGreaterThan(0.95);
    const same = [shot({ ...undecided, trailPx2: 1.2, trailDeg: 70, seed: 3 })];
    expect(
      judgeExperiment('change-filter', before, same, { refocused: true }).after.astigmatism,
    ).toBeGreaterThan(0.95);
  });
});

describe('a screw', () => {
  const at = (x: number, y: number): FrameReport => {
    const report = shot({ cause: 'collimation', rival: 'coma', confidence: 0.7 });
    const vector = { x: { value: x, sigma: 0.05 }, y: { value: y, sigma: 0.05 } };
    report.model = { coma: { centreMm: vector } } as FrameReport['model'];
    return report;
  };

  test('is learnt from one turn, and two of them reach the middle', () => {
    const first = judgeExperiment('screw-turn', at(2, 1), [at(1.5, 1)], {
      screw: { name: 'Screw A', turns: 0.125 },
    });
    expect(first.screws!.learned).toEqual([{ name: 'Screw A', xMmPerTurn: -4, yMmPerTurn: 0 }]);
    // A moves along x only: 1.5 mm more are 0.375 of a turn, and 1 mm is left.
    expect(first.screws!.turn[0].turns).toBeCloseTo(0.375, 3);
    expect(first.screws!.leftMm).toBeCloseTo(1, 3);
    const second = judgeExperiment('screw-turn', at(1.5, 1), [at(1.75, 0.567)], {
      screw: { name: 'Screw B', turns: 0.125 },
      learned: first.screws!.learned,
    });
    expect(second.screws!.leftMm).toBeLessThan(0.01);
    const [a, b] = ['Screw A', 'Screw B'].map(
      (name) => second.screws!.turn.find((each) => each.name === name)!.turns,
    );
    expect(1.75 - 4 * a + 2 * b).toBeCloseTo(0, 2);
    expect(0.567 - 3.464 * b).toBeCloseTo(0, 2);
  });

  test('three known screws are turned as little as possible', () => {
    const three = [0, 120, 240].map((deg, i) => ({
      name: `${i}`,
      xMmPerTurn: 3 * Math.cos((deg * Math.PI) / 180),
      yMmPerTurn: 3 * Math.sin((deg * Math.PI) / 180),
    }));
    const { turn, leftMm } = turnsFor({ x: 1, y: 0.4 }, three);
    expect(leftMm).toBeLessThan(1e-4);
    expect(turn.reduce((total, { turns }) => total + turns, 0)).toBeCloseTo(0, 6);
  });

  test('a middle that has not moved for sure is said', () => {
    const judgement = judgeExperiment('screw-turn', at(2, 1), [at(2.05, 1)], {
      screw: { name: 'Screw A', turns: 0.125 },
    });
    expect(judgement.sentence).toMatch(/has not moved for sure/);
  });
});

test('every experiment is described as hands do it', () => {
  for (const [experiment, how] of Object.entries(HOW_TO)) {
    expect(how.experiment).toBe(experiment);
    expect(how.steps.length).toBeGreaterThan(0);
    expect(how.frames).toBeGreaterThan(0);
  }
});

test('a spoilt frame teaches nothing and passes its reason on', () => {
  const before = shot({ cause: 'focus', rival: 'seeing', confidence: 0.5 });
  const fault = { code: 'too-few-stars', message: 'Too few stars: expose longer.' } as const;
  const judgement = judgeExperiment('next-frame', before, [{ ...before, fault }]);
  expect(judgement.void).toBe(fault.message);
});
