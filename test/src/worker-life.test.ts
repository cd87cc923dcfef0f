import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { MessageChannel } from 'node:worker_threads';
import { expect, test } from 'vitest';
import { success, type Outcome } from '../../workers/protocol/faults.ts';
import { WorkerLife, type WorkerLike } from '../../src/client/worker-life.ts';

/** A worker that never says anything. */
const silent = (): WorkerLike => {
  const { port1 } = new MessageChannel();
  return {
    postMessage: () => {},
    addEventListener: () => {},
    removeEventListener: () => {},
    terminate: () => port1.close(),
  } as unknown as WorkerLike;
};
const GONE = { code: 'cancelled', message: 'gone' } as const;

test('a call that is pending ends with the worker, and so do later ones, with the first reason', async () => {
  const life = new WorkerLife<object>(silent());
  const pending = life.call(() => new Promise<Outcome<number>>(() => {}));
  life.end(GONE);
  life.end({ code: 'internal', message: 'too late' });
  expect(await pending).toEqual({ ok: false, fault: GONE });
  expect(await life.call(async () => success(1))).toEqual({ ok: false, fault: GONE });
});

test('what throws on the other side comes back as a fault', async () => {
  const life = new WorkerLife<object>(silent());
  const outcome = await life.call(() => Promise.reject(new Error('broken')));
  expect(outcome).toMatchObject({ ok: false, fault: { code: 'internal' } });
  life.end(GONE);
});

test('an answer is not held by the worker that gave it: a night of answers would fill the memory', async () => {
  setFlagsFromString('--expose_gc');
  const gc = runInNewContext('gc') as () => void;
  const life = new WorkerLife<object>(silent());
  const held: WeakRef<object>[] = [];
  for (let i = 0; i < 5; i++) {
    const outcome = await life.call(async () => success({ large: new Float64Array(1e5) }));
    if (outcome.ok) held.push(new WeakRef(outcome.value));
  }
  // A weak reference holds until the turn of events is over.
  await new Promise((turn) => setTimeout(turn, 20));
  gc();
  expect(held.filter((each) => each.deref() !== undefined).length).toBeLessThanOrEqual(1);
  life.end(GONE);
});
