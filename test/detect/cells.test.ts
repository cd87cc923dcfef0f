import { expect, test } from 'vitest';
import { Cells } from '../../workers/detect/cells.ts';
import { createRandom } from '../../workers/simulate/random.ts';

// Against asking all that were filed: no source but the definition.
test('finds the same as asking everything in the nine cells, cell by cell, in the order of filing', () => {
  const random = createRandom(5);
  for (const sizePx of [3.5, 40]) {
    const places = Array.from({ length: 400 }, () => ({
      xPx: 300 * random.uniform() - 0.5,
      yPx: 200 * random.uniform() - 0.5,
    }));
    const cell = (px: number) => Math.floor(px / sizePx);
    const cells = new Cells(places.length, sizePx);
    places.forEach(({ xPx, yPx }, thing) => {
      const suits = (other: number) =>
        Math.hypot(places[other].xPx - xPx, places[other].yPx - yPx) < sizePx / 2;
      const filed = places.slice(0, thing).flatMap((place, other) => {
        const [col, row] = [cell(place.xPx) - cell(xPx), cell(place.yPx) - cell(yPx)];
        return Math.max(Math.abs(col), Math.abs(row)) <= 1 ? [{ other, order: 3 * row + col }] : [];
      });
      const plain = filed
        .sort((a, b) => a.order - b.order || a.other - b.other)
        .find(({ other }) => suits(other));
      expect(cells.first(xPx, yPx, suits)).toBe(plain?.other ?? -1);
      cells.add(thing, xPx, yPx);
    });
  }
});
