import { describe, expect, test } from 'vitest';
import { drawn, WORLDS } from './worlds.ts';

// Of all experiments that end with a chance of about p the cause must be true in a part p of them. The drawn worlds (worlds.ts)
// share no formula with the judges; the seeds are none that anything was chosen on.

const COUNT = 45;
const BANDS = [
  [0, 0.3],
  [0.3, 0.7],
  [0.7, 1.01],
];

describe('stated chances are those with which things come true', () => {
  test.each(WORLDS)(
    '$name',
    (world) => {
      const [cause] = world.causes;
      const all = drawn(world, COUNT, 17).map(({ truth, judgement }) => {
        expect(judgement.void).toBeNull();
        return { stated: judgement.after[cause] ?? 0, true_: Number(truth === cause) };
      });
      for (const [from, to] of BANDS) {
        const inside = all.filter(({ stated }) => stated >= from && stated < to);
        const surplus = inside.reduce((sum, { stated, true_ }) => sum + true_ - stated, 0);
        const error = Math.sqrt(inside.reduce((sum, { stated }) => sum + stated * (1 - stated), 0));
        // Binomial: 2.6 standard errors, one band in a hundred; and one experiment, which a band that is sure may miss.
        expect(Math.abs(surplus)).toBeLessThan(2.6 * error + 1);
      }
      // In all, the judgement is worth more than the chances before: mean of -ln of what was said of the truth.
      const loss = all.reduce((sum, { stated, true_ }) => sum - Math.log(true_ ? stated : 1 - stated), 0);
      expect(loss / COUNT).toBeLessThan(0.69);
    },
    240_000,
  );
});
