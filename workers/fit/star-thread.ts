import type { StarThreadApi } from './shared-pool.ts';
import { InlineStarPool } from './star-pool.ts';

/** The far side of a helper thread, whatever kind of thread it is. */
export function starThreadApi(): StarThreadApi {
  let pool: InlineStarPool | null = null;
  const loaded = () => {
    if (!pool) throw new Error('No stamps were loaded.');
    return pool;
  };
  return {
    async load(stamps, optics) {
      pool = await InlineStarPool.create(stamps, optics);
    },
    evaluate: (question, jobs) => loaded().evaluate(question, jobs),
    freeze: (question, jobs, modelError) => loaded().freeze(question, jobs, modelError),
    setOptics: (optics) => loaded().setOptics(optics),
  };
}
