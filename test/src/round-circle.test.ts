import { expect, test } from 'vitest';
import type { RoundCircle } from '../../workers/protocol/model.ts';
import type { FieldModel } from '../../workers/protocol/report.ts';
import { roundMark } from '../../src/stars/round-mark.ts';
import { circleWords } from '../../src/story/round-circle.ts';

const SENSOR = { widthPx: 1001, heightPx: 601 };
const circle = (x: number, y: number): RoundCircle => ({
  centrePx: { x, y },
  radiusPx: 250,
  radiusArcmin: 5,
  coversAll: false,
});
const SCALE = { umPerPx: 4, arcsecPerPx: 1.2 };
/** The node in mm follows from the pixels: 4 micrometres each. */
const model = (x: number, y: number) => ({
  model: {
    coma: {
      centreMm: { x: { value: x * 0.004, sigma: 0.03 }, y: { value: y * 0.004, sigma: 0.03 } },
    },
  } as FieldModel,
});

test('a circle on the sensor lies where its middle is, and there is none to draw that holds the whole sensor', () => {
  const mark = roundMark(circle(-300, 100), SENSOR)!;
  expect([mark.xPx, mark.yPx, mark.radiusPx, mark.off]).toEqual([200, 400, 250, false]);
  expect(roundMark({ ...circle(0, 0), coversAll: true }, SENSOR)).toBeNull();
  expect(roundMark(null, SENSOR)).toBeNull();
  expect(roundMark(circle(0, 0), SENSOR)!.off).toBe(false);
});

test('off the sensor: the way there leaves the border where a straight line does', () => {
  const mark = roundMark(circle(900, -450), SENSOR)!;
  expect(mark.off).toBe(true);
  // From (500, 300) along (2, -1): the right border (x = 1000.5) is met before the top one.
  expect(mark.exit.yPx).toBeCloseTo(300 - 250.25, 6);
  expect(mark.exit.xPx).toBeCloseTo(1000.5, 6);
  const steep = roundMark(circle(100, 1000), SENSOR)!;
  expect(steep.exit.yPx).toBeCloseTo(600.5, 6);
  expect(steep.exit.xPx).toBeCloseTo(500 + 30.05, 6);
});

test('how far off, which way, in millimetres with an error; in pixels where nothing is known', () => {
  const round = circle(900, 0);
  const mark = roundMark(round, SENSOR);
  const words = circleWords(round, mark, model(900, 0), 'px', SCALE);
  expect(words).toContain('3.60 ± 0.03 mm from its middle towards the right');
  // 900 - 500.5 pixels of 4 micrometres.
  expect(words).toContain('1.6 mm beyond the border');
  expect(words).toMatch(/250\spx \(5\.0′ on the sky\)/);
  const bare = circleWords(round, mark, { model: null }, 'px', { umPerPx: null, arcsecPerPx: null });
  expect(bare).toContain('900 px from its middle');
});

test('on the sensor, or everywhere, the sentence says only that', () => {
  const on = circle(100, 50);
  expect(circleWords(on, roundMark(on, SENSOR), model(100, 50), 'um', SCALE)).toMatch(
    /^Inside the dashed circle, 1000\sµm/,
  );
  const all = { ...on, coversAll: true };
  expect(circleWords(all, null, model(0, 0), 'px', SCALE)).toContain('all over the sensor');
  expect(circleWords(null, null, model(0, 0), 'px', SCALE)).toBe('');
});
