import { describe, expect, test } from 'vitest';
import { runningMedians, select } from '../../workers/math/select.ts';
import { createRandom } from '../../workers/simulate/random.ts';

describe('order statistics without sorting all', () => {
  const random = createRandom(5);
  const drawn = {
    'all different': (n: number) => Float64Array.from({ length: n }, () => random.normal()),
    'few different': (n: number) => Float64Array.from({ length: n }, () => random.integer(4)),
    rising: (n: number) => Float64Array.from({ length: n }, (_, i) => i),
    falling: (n: number) => Float64Array.from({ length: n }, (_, i) => -i),
  };

  test.each(Object.entries(drawn))('of values that are %s: as the language sorts them', (_, draw) => {
    for (const n of [1, 2, 7, 24, 25, 26, 100, 999])
      for (const k of new Set([0, n >> 2, n >> 1, n - 1])) {
        const values = draw(n);
        const sorted = values.slice().sort();
        select(values, n, k);
        expect(values[k]).toBe(sorted[k]);
        expect(Math.max(...values.subarray(0, k + 1))).toBe(sorted[k]);
        expect(values.slice().sort()).toEqual(sorted);
      }
  });

  test('what lies behind the count stays where it is', () => {
    const values = Float64Array.of(3, 1, 2, -5);
    select(values, 3, 1);
    expect([values[1], values[3]]).toEqual([2, -5]);
  });

  test('medians of neighbours, by hand', () => {
    expect([...runningMedians([5, 1, 4, 4, 9], 3)]).toEqual([4, 4, 4]);
    expect([...runningMedians([1, 3, 2, 8], 2)]).toEqual([2, 2.5, 5]);
    expect([...runningMedians([7, 5], 2)]).toEqual([6]);
    expect([...runningMedians([], 0)]).toEqual([]);
  });
});
