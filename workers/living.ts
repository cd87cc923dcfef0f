import type { Living } from './protocol/api.ts';

/**
 * Lets the page notice when this worker ends without a word, as browsers end one that ran out of memory: it holds a lock
 * for as long as it lives, and tells its name. Who asks for that lock waits until the worker is gone. Where a browser has
 * no locks, only errors that are thrown are noticed.
 */
export function tellLiving(): void {
  if (!navigator.locks) return;
  const lock = `cornerwise worker ${crypto.randomUUID()}`;
  const forLife = () => {
    postMessage({ living: lock } satisfies Living);
    return new Promise<never>(() => {});
  };
  navigator.locks.request(lock, forLife).catch(() => {});
}
