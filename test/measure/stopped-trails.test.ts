import { describe, expect, test } from 'vitest';
import { stoppedTrails, type StoppedTrails } from '../../workers/measure/stopped-trails.ts';
import { createRandom } from '../../workers/simulate/random.ts';

// Frames painted star by star: a Gaussian that stands for a while and then runs round the pole at the sky's even rate,
// as many small Gaussians along an exact circle. Nothing of the formulas under test is used.

const DEG = Math.PI / 180;
interface Painted {
  widthPx: number;
  heightPx: number;
  stars: number;
  exposureS: number;
  stoodS: number;
  ranPx: number;
  /** Direction of the run at the frame's middle. */
  ranDeg: number;
  declinationDeg: number;
  arcsecPerPx: number;
  /** -1: the pole lies to the other side. */
  side: 1 | -1;
  fwhmPx: number;
  sky: number;
  seed: number;
}
const PLAIN: Painted = {
  widthPx: 960,
  heightPx: 640,
  stars: 60,
  exposureS: 20,
  stoodS: 5,
  ranPx: 130,
  ranDeg: 28,
  declinationDeg: 40,
  arcsecPerPx: 1.5,
  side: 1,
  fwhmPx: 3,
  sky: 120,
  seed: 1,
};

function paint(changes: Partial<Painted> = {}): { values: Float32Array; frame: Painted } {
  const frame = { ...PLAIN, ...changes };
  const { widthPx: w, heightPx: h } = frame;
  const random = createRandom(frame.seed);
  const values = new Float32Array(w * h).fill(frame.sky);
  const sigma = frame.fwhmPx / 2.3548;
  const blob = (x: number, y: number, flux: number) => {
    const [x0, y0] = [Math.round(x), Math.round(y)];
    for (let j = Math.max(0, y0 - 7); j <= Math.min(h - 1, y0 + 7); j++)
      for (let i = Math.max(0, x0 - 7); i <= Math.min(w - 1, x0 + 7); i++)
        values[j * w + i] +=
          (flux / (2 * Math.PI * sigma * sigma)) *
          Math.exp(-((i - x) ** 2 + (j - y) ** 2) / (2 * sigma * sigma));
  };
  // The pole in the plane of the sensor: a circle of radius cot δ about it, in px (small field).
  const radius = 206265 / frame.arcsecPerPx / Math.tan(Math.max(0.5, frame.declinationDeg) * DEG);
  const across = (frame.ranDeg + 90 * frame.side) * DEG;
  const [px, py] = [(w - 1) / 2 + radius * Math.cos(across), (h - 1) / 2 + radius * Math.sin(across)];
  const turn = (frame.side * frame.ranPx) / radius;
  for (let star = 0; star < frame.stars; star++) {
    const [x, y] = [random.uniform() * w * 1.3 - 0.15 * w, random.uniform() * h * 1.3 - 0.15 * h];
    const flux = Math.min(4e5, 4000 / (0.01 + random.uniform()) ** 1.1);
    blob(x, y, (flux * frame.stoodS) / frame.exposureS);
    const steps = Math.max(1, Math.round(2 * frame.ranPx));
    for (let k = 0; k < steps; k++) {
      const a = (turn * (k + 0.5)) / steps;
      const [dx, dy] = [x - px, y - py];
      blob(
        px + Math.cos(a) * dx - Math.sin(a) * dy,
        py + Math.sin(a) * dx + Math.cos(a) * dy,
        (flux * (1 - frame.stoodS / frame.exposureS)) / steps,
      );
    }
  }
  for (let i = 0; i < values.length; i++)
    values[i] = Math.min(60000, 500 + values[i] + Math.sqrt(values[i] + 9) * random.normal());
  return { values, frame };
}

const found = (changes: Partial<Painted> = {}): StoppedTrails => {
  const { values, frame } = paint(changes);
  const answer = stoppedTrails(values, frame.widthPx, frame.heightPx, 60000);
  if (!answer.ok) throw new Error(answer.sentence);
  return answer.value;
};
const turned = (a: number, b: number): number => Math.abs(((((a - b + 180) % 360) + 360) % 360) - 180);

describe('trails with a bright end', () => {
  test.each([0, 28, 90, 135, 180, -62, -117])(
    'direction and length, running towards %i degrees',
    (ranDeg) => {
      const trails = found({ ranDeg, seed: 3 + Math.abs(ranDeg) });
      expect(turned(trails.ranDeg.value, ranDeg)).toBeLessThan(0.4);
      expect(Math.abs(trails.lengthPx.value / 130 - 1)).toBeLessThan(0.02);
      // 15 of 20 seconds.
      expect(Math.abs(trails.ranShare.value / 0.75 - 1)).toBeLessThan(0.05);
    },
  );
  test.each<[string, Partial<Painted>]>([
    ['short', { ranPx: 40 }],
    ['long', { ranPx: 330, stars: 80 }],
    ['high', { declinationDeg: 70, ranPx: 200 }],
    ['high, pole on the other side', { declinationDeg: 70, ranPx: 200, side: -1 }],
    ['wide field', { declinationDeg: 60, arcsecPerPx: 6, ranPx: 60 }],
    ['dense', { stars: 300 }],
    ['few', { stars: 14, seed: 4 }],
    ['fat stars', { fwhmPx: 5, ranPx: 150 }],
    ['bright sky', { sky: 3000 }],
    ['a second', { stoodS: 2 }],
  ])('%s', (_, changes) => {
    const trails = found(changes);
    const frame = { ...PLAIN, ...changes };
    // A tenth of a degree, and what the frame's own scatter allows.
    expect(turned(trails.ranDeg.value, frame.ranDeg)).toBeLessThan(0.1 + 4 * trails.ranDeg.sigma);
    expect(trails.ranDeg.sigma).toBeLessThan(0.5);
    expect(Math.abs(trails.lengthPx.value / frame.ranPx - 1)).toBeLessThan(0.03);
    expect(Math.abs(trails.ranShare.value / (1 - frame.stoodS / 20) - 1)).toBeLessThan(0.06);
    // tan δ over the radius of the sky in px: the turn of a parallel circle's direction with the way along it.
    const turn = (frame.side * Math.tan(frame.declinationDeg * DEG) * frame.arcsecPerPx) / 3600;
    const off = Math.abs(trails.turnDegPerPx.value - turn);
    expect(off).toBeLessThan(5 * trails.turnDegPerPx.sigma + 0.25 * Math.abs(turn) + 2e-4);
  });

  test('errors are those that the numbers have', () => {
    const off: number[] = [];
    for (let seed = 40; seed < 52; seed++) {
      const { ranDeg, lengthPx, ranShare } = found({ seed, widthPx: 640, heightPx: 480, ranPx: 90 });
      off.push((ranDeg.value - 28) / ranDeg.sigma, (lengthPx.value - 90) / lengthPx.sigma);
      off.push((ranShare.value - 0.75) / ranShare.sigma);
    }
    // Of 36 numbers with errors from six groups (Student, five degrees of freedom) a twentieth lies beyond 2.6.
    expect(off.filter((each) => Math.abs(each) > 2.6).length).toBeLessThanOrEqual(6);
  });
});

describe('what is no such frame is refused in a sentence', () => {
  const sentence = (changes: Partial<Painted>): string => {
    const { values, frame } = paint(changes);
    const answer = stoppedTrails(values, frame.widthPx, frame.heightPx, 60000);
    return answer.ok ? 'accepted' : answer.sentence;
  };
  test.each([1, 2, 3])('stars that stood all the time (seed %i)', (seed) => {
    expect(sentence({ ranPx: 0.5, stoodS: 20, seed })).toMatch(/^No trails with a bright end/);
  });
  test.each([1, 2, 3])('a drive that never ran: even trails (seed %i)', (seed) => {
    expect(sentence({ stoodS: 0, seed })).toMatch(/bright end/);
  });
  test.each([30, 80])('trails that leave the frame, %i stars', (stars) => {
    expect(sentence({ ranPx: 900, stars })).toMatch(/trails/i);
  });
  test.each([1 / 3, 0.5, 0.9])(
    'the right reason in a very small frame, trails of %f of its height',
    (part) => {
      const said: string[] = [];
      for (const stars of [25, 60, 120])
        for (let seed = 1; seed <= 6; seed++)
          said.push(sentence({ widthPx: 320, heightPx: 240, stars, ranPx: 240 * part, seed }));
      // They are painted with bright ends. Where all the brightest stars stood outside or are overexposed nobody can see that.
      const wrong = said.filter((each) => /^No trails|no bright end|too short/.test(each));
      expect(wrong.length).toBeLessThanOrEqual(said.length / 9);
    },
  );
  test('and the other way round: stars that stood, or that ran all the time, in a very small frame', () => {
    for (let seed = 1; seed <= 6; seed++)
      for (const stars of [25, 60, 200]) {
        const small = { widthPx: 320, heightPx: 240, stars, seed };
        expect(sentence({ ...small, ranPx: 0.5, stoodS: 20 })).toMatch(/^No trails|^Too few/);
        if (stars < 200)
          expect(sentence({ ...small, ranPx: 80, stoodS: 0 })).toMatch(/no bright end|^Too few/);
      }
  });
  test('trails that are too short are told so', () => {
    for (const seed of [2, 3, 4])
      expect(sentence({ widthPx: 320, heightPx: 240, ranPx: 20, seed })).toMatch(/^The trails are too short/);
  });
  test('no stars', () => {
    expect(sentence({ stars: 0 })).toMatch(/^Too few bright stars/);
  });
  test('a mosaic of colours under a coloured sky', () => {
    const { values, frame } = paint();
    const tinted = values.map((value, i) => {
      const [x, y] = [i % frame.widthPx, Math.floor(i / frame.widthPx)];
      return value + 300 * ((x & 1) + 2 * (y & 1));
    });
    const answer = stoppedTrails(tinted, frame.widthPx, frame.heightPx, Infinity);
    expect(answer.ok && Math.abs(answer.value.lengthPx.value / 130 - 1)).toBeLessThan(0.02);
  });
});
