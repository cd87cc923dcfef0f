import { expect, test } from 'vitest';
import { layAgain } from '../../workers/series/laid-again.ts';
import { layFrames } from '../../workers/series/register.ts';
import { makeRun } from './runs.ts';

test('what is remembered is what laying anew gives, for the same records in the same order only', () => {
  const { records } = makeRun({ frames: 8, motion: (t) => [0.05 * t, 0] });
  const first = layAgain(records);
  expect(first).toEqual(layFrames(records));
  expect(layAgain([...records])).toBe(first);
  const turned = [...records].reverse();
  expect(layAgain(turned)).toEqual(layFrames(turned));
  // Two orders are remembered beside each other; one frame more is another run.
  expect(layAgain(records)).toBe(first);
  expect(layAgain(records.slice(1)).laid).toHaveLength(7);
  expect(layAgain(records.slice(1))).toEqual(layFrames(records.slice(1)));
});
