import { describe, expect, test } from 'vitest';
import { trackRun } from '../../workers/series/track.ts';
import { makeRun, type Run } from './runs.ts';

// Runs of star lists whose shapes carry the motion within each exposure as a sum over moments (runs.ts).

const periodic: Run['motion'] = (t) => {
  const swing = 8 * Math.sin((2 * Math.PI * t) / 300 + 1);
  return [0.3 * (t / 60) + 0.9 * swing, 0.43 * swing];
};
const shapesOf = (changes: Partial<Run>) =>
  trackRun(makeRun(changes).records).frames.map(({ shape }) => shape!);

describe('elongation foretold by the path against the one seen', () => {
  test('periodic error: they agree in length and direction, and trailed frames are owed to the tracking', () => {
    const shapes = shapesOf({ seed: 1, motion: periodic });
    const trailed = shapes.filter(({ seen }) => seen.elongation.value > 1.15);
    expect(trailed.length).toBeGreaterThan(5);
    for (const { seen, predicted, says, chi2 } of trailed) {
      expect(says).toBe('tracking');
      expect(Math.abs(predicted.elongation.value / seen.elongation.value - 1)).toBeLessThan(0.05);
      expect(Math.abs(predicted.angleDeg.value - seen.angleDeg.value)).toBeLessThan(5);
      // Two degrees of freedom: 13.8 is one in a thousand.
      expect(chi2).toBeLessThan(13.8);
    }
    expect(shapes.some(({ says }) => says === 'within' || says === 'optics')).toBe(false);
  });

  test('the trail is the distance between the ends of the path', () => {
    const [first] = shapesOf({ seed: 2, frames: 12, motion: (t) => [3 * (t / 60), 4 * (t / 60)] });
    // 5 px a minute for half a minute.
    expect(Math.abs(first.trailPx.value / 2.5 - 1)).toBeLessThan(0.02);
    expect(first.predicted.angleDeg.value).toBeCloseTo((Math.atan2(4, 3) * 180) / Math.PI, 0);
  });

  test('optics: the same elongation in every frame of a mount that stands still', () => {
    for (const { says } of shapesOf({ seed: 3, optics: [0.05, 0.2] })) expect(says).toBe('optics');
  });

  test('round and still: nothing to explain', () => {
    for (const { says } of shapesOf({ seed: 4 })) expect(says).toBe('round');
  });

  test('a gust within one exposure is found in that frame alone', () => {
    const gust: Run['motion'] = (t) => [t > 330 && t < 340 ? 6 : 0, 0];
    const shapes = shapesOf({ seed: 5, motion: gust });
    expect(shapes.flatMap(({ says }, i) => (says === 'within' ? [i] : []))).toEqual([10]);
    // 6 px for a third of the time: a variance of 36 * 2/9 = 8 px², that of a straight trail of sqrt(12 * 8) px.
    expect(Math.abs(shapes[10].leftTrailPx.value / Math.sqrt(96) - 1)).toBeLessThan(0.1);
  });

  test('swings in half of the frames that the path does not show: no length is promised', () => {
    const shaken: Run['motion'] = (t) => [
      Math.floor(t / 32) % 2 ? 3 * Math.sin((2 * Math.PI * t) / 6) : 0,
      0,
    ];
    const { report, headline } = trackRun(makeRun({ seed: 6, motion: shaken }).records);
    expect(report.longestExposureS).toBeNull();
    expect(headline).toMatch(/^12 of 24 frames trail by more than 2 px at 30 s/);
  });

  test('over the pier: the axis is foretold in the pixels of each frame', () => {
    const shapes = shapesOf({ seed: 7, flipAt: 12, motion: periodic });
    const trailed = shapes.filter(({ seen }) => seen.elongation.value > 1.15);
    expect(trailed.every(({ says }) => says === 'tracking')).toBe(true);
  });
});
