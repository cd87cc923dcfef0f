import type { StarThreadApi } from './shared-pool.ts';
import { InlineStarPool } from './star-pool.ts';

/** The far side of a helper thread, whatever kind of thread it is. */
export function starThreadApi(): StarThreadApi {
  const pools = new Map<number, InlineStarPool>();
  const loaded = (number: number) => {
    const pool = pools.get(number);
    if (!pool) throw new Error('No stamps were loaded.');
    return pool;
  };
  return {
    async load(number, stamps, optics) {
      pools.set(number, await InlineStarPool.create(stamps, optics));
    },
    evaluate: (number, question, jobs) => loaded(number).evaluate(question, jobs),
    freeze: (number, question, jobs, modelError) => loaded(number).freeze(question, jobs, modelError),
    setOptics: (number, optics) => loaded(number).setOptics(optics),
    async drop(number) {
      pools.get(number)?.close();
      pools.delete(number);
    },
  };
}
