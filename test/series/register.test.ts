import { describe, expect, test } from 'vitest';
import type { SeriesRecord } from '../../workers/protocol/series.ts';
import { layFrames, type Laid } from '../../workers/series/register.ts';
import {
  compose,
  fromTwoPoints,
  inverse,
  mapX,
  mapY,
  rotationRad,
  type Similarity,
} from '../../workers/series/similarity.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { makeRun, type Run } from './runs.ts';

const DEG = Math.PI / 180;

/** Mapping from frame `from` to frame `to`. */
function between(laid: Laid[], from: number, to: number): Similarity {
  const [a, b] = [laid[from], laid[to]];
  if (!a.ok || !b.ok) throw new Error(`not registered: ${JSON.stringify(a.ok ? b : a)}`);
  return compose(b.fit.mapping, inverse(a.fit.mapping));
}
const laidOf = (changes: Partial<Run>) => {
  const made = makeRun(changes);
  return { ...made, ...layFrames(made.records) };
};

describe('similarities', () => {
  const random = createRandom(5);
  const any = (mirrored: boolean): Similarity => ({
    mRe: random.normal(),
    mIm: random.normal(),
    dx: 100 * random.normal(),
    dy: 100 * random.normal(),
    mirrored,
  });
  test('composition, inverse and two points agree with doing one after the other', () => {
    for (let i = 0; i < 16; i++) {
      const [p, q] = [any(i % 2 === 0), any(i % 4 < 2)];
      const [x, y] = [random.normal(), random.normal()];
      const [ix, iy] = [mapX(q, x, y), mapY(q, x, y)];
      const both = compose(p, q);
      expect(mapX(both, x, y)).toBeCloseTo(mapX(p, ix, iy), 9);
      expect(mapY(both, x, y)).toBeCloseTo(mapY(p, ix, iy), 9);
      const back = inverse(q);
      expect(mapX(back, ix, iy)).toBeCloseTo(x, 9);
      expect(mapY(back, ix, iy)).toBeCloseTo(y, 9);
      const same = fromTwoPoints(
        [0, 0],
        [1, 2],
        [mapX(p, 0, 0), mapY(p, 0, 0)],
        [mapX(p, 1, 2), mapY(p, 1, 2)],
        p.mirrored,
      );
      expect([same.mRe, same.mIm, same.dx, same.dy]).toEqual(
        [p.mRe, p.mIm, p.dx, p.dy].map((value) => expect.closeTo(value, 9)),
      );
    }
  });
});

describe('registration against the known motion', () => {
  test.each([
    { name: 'seven stars, two of them missing in each frame', stars: 9, missing: 0.2, extra: 1 },
    { name: 'forty stars, a third missing', stars: 40, missing: 0.33, extra: 5 },
    { name: 'three hundred stars', stars: 300, missing: 0.1, extra: 30 },
  ])('$name: shift within its error, pulls of one', ({ stars, missing, extra }) => {
    const pulls: number[] = [];
    const angles: number[] = [];
    for (let seed = 1; seed <= 6; seed++) {
      const dither = createRandom(seed + 100);
      const steps = Array.from({ length: 12 }, () => [60 * dither.normal(), 60 * dither.normal()]);
      const { laid, truth } = laidOf({
        frames: 12,
        stars,
        missing,
        extra,
        seed,
        jitterPx: 0,
        motion: (t) => steps[Math.floor(t / 32)] as [number, number],
        turnDeg: (t) => t / 2000,
      });
      for (let i = 1; i < 12; i++) {
        const found = laid[i];
        const first = laid[0];
        expect(found.ok, found.ok ? '' : found.sentence).toBe(true);
        if (!found.ok || !first.ok) continue;
        const turn = (truth[i].turnDeg - truth[0].turnDeg) * DEG;
        const mapping = between(laid, 0, i);
        // The star at the first frame's centre: turned about the sensor's centre and shifted.
        const [x0, y0] = [-truth[0].xPx, -truth[0].yPx];
        const wantX = Math.cos(turn) * x0 - Math.sin(turn) * y0 + truth[i].xPx;
        const wantY = Math.sin(turn) * x0 + Math.cos(turn) * y0 + truth[i].yPx;
        const sigmaX = Math.sqrt(found.fit.shiftCovariance[0] + first.fit.shiftCovariance[0]);
        const sigmaY = Math.sqrt(found.fit.shiftCovariance[2] + first.fit.shiftCovariance[2]);
        pulls.push((mapping.dx - wantX) / sigmaX, (mapping.dy - wantY) / sigmaY);
        angles.push(
          (rotationRad(mapping) - turn) / Math.hypot(found.fit.rotationSigmaRad, first.fit.rotationSigmaRad),
        );
      }
    }
    const rms = (list: number[]) => Math.sqrt(list.reduce((sum, v) => sum + v * v, 0) / list.length);
    // All frames of a run share the first one's error: about 12 independent pulls in each; 6 runs. chi: 1 +- 0.1.
    expect(rms(pulls)).toBeGreaterThan(0.7);
    expect(rms(pulls)).toBeLessThan(1.35);
    expect(rms(angles)).toBeLessThan(1.35);
  });

  test('turned by any angle, mirrored, and over the pier', () => {
    for (const angle of [17, 90, 133, 180, -60])
      for (const mirrored of [false, true]) {
        const { laid } = laidOf({
          frames: 2,
          stars: 25,
          seed: 3,
          turnDeg: (t) => (t > 20 ? angle : 0),
          mirrored: (frame) => mirrored && frame === 1,
          motion: (t) => (t > 30 ? [12, -30] : [0, 0]),
        });
        const mapping = between(laid, 0, 1);
        expect(mapping.mirrored).toBe(mirrored);
        // A mirror image x -> -x after a turn by a is a turn by 180 - a after the conjugation y -> -y.
        const want = mirrored ? 180 - angle : angle;
        const off = ((rotationRad(mapping) / DEG - want + 540) % 360) - 180;
        expect(Math.abs(off)).toBeLessThan(0.05);
        expect(mapping.dx).toBeCloseTo(mirrored ? -12 : 12, 0);
        expect(mapping.dy).toBeCloseTo(-30, 0);
      }
    const { laid } = laidOf({ frames: 12, flipAt: 6, seed: 4 });
    expect(Math.abs(rotationRad(between(laid, 0, 11)) / DEG)).toBeGreaterThan(179.9);
  });

  test('a field that wanders farther than the frame is wide is followed from frame to frame', () => {
    const { laid, truth } = laidOf({ frames: 40, stars: 60, seed: 6, motion: (t) => [0.5 * t, 0] });
    const mapping = between(laid, 0, 39);
    expect(mapping.dx).toBeCloseTo(truth[39].xPx - truth[0].xPx, 0);
  });
});

describe('frames that cannot be registered say why', () => {
  const run = () => makeRun({ frames: 6, seed: 8 }).records;
  const whyOf = (laid: Laid) => (laid.ok ? 'registered' : laid.why);
  const spoilt = (spoil: (records: SeriesRecord[]) => void) => {
    const records = run();
    spoil(records);
    return layFrames(records).laid.map(whyOf);
  };
  const ok = 'registered';

  test('another field', () =>
    expect(spoilt((r) => (r[2] = makeRun({ frames: 1, seed: 99 }).records[0]))).toEqual([
      ok,
      ok,
      'no-pattern',
      ok,
      ok,
      ok,
    ]));
  test('the first frame of another field does not spoil the rest', () =>
    expect(spoilt((r) => (r[0] = makeRun({ frames: 1, seed: 99, stars: 200 }).records[0]))).toEqual([
      'no-pattern',
      ok,
      ok,
      ok,
      ok,
      ok,
    ]));
  test('no stars', () =>
    expect(spoilt((r) => (r[3].stars = makeRun({ frames: 1, stars: 0, extra: 2 }).records[0].stars))).toEqual(
      [ok, ok, ok, 'no-stars', ok, ok],
    ));
  test('another frame size', () =>
    expect(spoilt((r) => (r[1].report.frame!.widthPx = 968))).toEqual([ok, 'other-size', ok, ok, ok, ok]));
  test('another scale', () =>
    expect(
      spoilt((r) => {
        const { stars } = r[4];
        for (let i = 0; i < stars.count; i++) {
          stars.xPx[i] *= 0.7;
          stars.yPx[i] *= 0.7;
        }
      }),
    ).toEqual([ok, ok, ok, ok, 'other-scale', ok]));

  test('noise is never taken for a field: 80 pairs of unrelated star lists', () => {
    let found = 0;
    for (let seed = 0; seed < 80; seed++) {
      const count = [7, 15, 40, 100][seed % 4];
      const one = makeRun({ frames: 1, stars: count, seed: 1000 + seed }).records[0];
      const other = makeRun({ frames: 1, stars: count, seed: 5000 + seed }).records[0];
      found += layFrames([one, other]).laid.filter((each) => each.ok).length - 1;
    }
    // The chance allowed is 1e-4 a pair.
    expect(found).toBe(0);
  });
});
