import { expose } from 'comlink';
import { expect, test } from 'vitest';
import { FrameClient } from '../../src/client/frame-client.ts';
import type { WorkerLike } from '../../src/client/worker-life.ts';
import type { FrameWorkerApi, Measured, Progress } from '../../workers/protocol/api.ts';
import { failure, success, type Outcome } from '../../workers/protocol/faults.ts';

/** A worker at the other end of a message channel; what it does is up to the test. */
class FakeWorker extends EventTarget implements WorkerLike {
  readonly #port: MessagePort;
  terminated = false;
  constructor(api: FrameWorkerApi) {
    super();
    const { port1, port2 } = new MessageChannel();
    expose(api, port2);
    this.#port = port1;
    port1.onmessage = (event) => this.dispatchEvent(new MessageEvent('message', { data: event.data }));
  }
  postMessage(message: unknown, transfer?: unknown): void {
    if (!this.terminated) this.#port.postMessage(message, (transfer ?? []) as Transferable[]);
  }
  terminate(): void {
    this.terminated = true;
    this.#port.close();
  }
}

type Measure = FrameWorkerApi['measure'];
const measuredAs = (file: string, handle = 1) =>
  success({ handle, report: { file } } as unknown as Measured) as Outcome<Measured>;
const never: Measure = () => new Promise(() => {});

function setUp(...measures: Measure[]) {
  const workers: FakeWorker[] = [];
  const client = new FrameClient(() => {
    const worker = new FakeWorker({
      warmUp: async () => {},
      measure: measures[Math.min(workers.length, measures.length - 1)],
      tile: async (handle, level) => success({ level, col: handle } as never),
      cutout: async () => success({} as never),
      stamps: async () => success({} as never),
      stamp: async () => failure('internal', 'not asked for'),
      colours: async () => failure('internal', 'not asked for'),
    });
    workers.push(worker);
    return worker;
  });
  // Node's message channels clone a File without its name, so a bare object stands for it.
  const measure = (name: string, signal?: AbortSignal, heed: (p: Progress) => void = () => {}) =>
    client.measure({ name } as File, { rig: {} }, heed, signal);
  return { client, workers, measure };
}
const faultOf = (outcome: Outcome<unknown>) => (outcome.ok ? null : outcome.fault);

test('a result comes with progress, and the same worker serves the next frame', async () => {
  const { workers, measure } = setUp(async (file, _, onProgress) => {
    await onProgress({ stage: 'reading', done: 1, total: 2 });
    return measuredAs(file.name);
  });
  const seen: Progress[] = [];
  const outcome = await measure('a', undefined, (progress) => seen.push(progress));
  expect(outcome.ok && outcome.value.measured.report.file).toBe('a');
  expect(seen).toEqual([{ stage: 'reading', done: 1, total: 2 }]);
  expect((await measure('b')).ok).toBe(true);
  expect(workers).toHaveLength(1);
});

test('a frame opened while another is measured ends that one; only the newer one answers', async () => {
  const { workers, measure } = setUp(never, async (file) => measuredAs(file.name));
  const first = measure('a');
  const second = await measure('b');
  expect(faultOf(await first)?.code).toBe('cancelled');
  expect(second.ok && second.value.measured.report.file).toBe('b');
  expect(workers.map((worker) => worker.terminated)).toEqual([true, false]);
});

test('cancelling ends the worker and the next frame gets a new one', async () => {
  const { workers, measure } = setUp(never, async (file) => measuredAs(file.name));
  const stop = new AbortController();
  const first = measure('a', stop.signal);
  stop.abort();
  expect(faultOf(await first)).toEqual({ code: 'cancelled', message: 'The analysis was cancelled.' });
  expect(workers[0].terminated).toBe(true);
  expect((await measure('b')).ok).toBe(true);
  expect(faultOf(await measure('c', AbortSignal.abort()))?.code).toBe('cancelled');
});

test('a signal that fires after the answer ends nothing', async () => {
  const { workers, measure } = setUp(async (file) => measuredAs(file.name));
  const stop = new AbortController();
  await measure('a', stop.signal);
  stop.abort();
  expect(workers[0].terminated).toBe(false);
});

test('a crash answers every pending call with its reason, and the next frame starts afresh', async () => {
  const { client, workers, measure } = setUp(never, async (file) => measuredAs(file.name));
  const pending = measure('a');
  const warm = client.warmUp();
  await warm;
  workers[0].dispatchEvent(Object.assign(new Event('error'), { message: 'out of memory' }));
  const fault = faultOf(await pending);
  expect(fault?.code).toBe('internal');
  expect(fault?.message).toContain('out of memory');
  expect(workers[0].terminated).toBe(true);
  expect((await measure('a')).ok).toBe(true);
  expect(workers).toHaveLength(2);
});

test('a mistake thrown in the worker comes back as a fault, not as a rejection', async () => {
  const { measure } = setUp(async () => {
    throw new TypeError('x is undefined');
  });
  const fault = faultOf(await measure('a'));
  expect(fault?.code).toBe('internal');
  expect(fault?.message).toContain('x is undefined');
});

test('a new worker never answers for a frame of the old one, although handles begin again', async () => {
  let call = 0;
  const once: Measure = (file) =>
    call++ === 0 ? Promise.resolve(measuredAs(file.name)) : never(file, { rig: {} }, () => {});
  const { client, workers, measure } = setUp(once, async (file) => measuredAs(file.name));
  const first = await measure('a');
  if (!first.ok) throw new Error('the first frame was not measured');
  expect((await client.tile(first.value.frame, 0, 0, 0)).ok).toBe(true);
  const stop = new AbortController();
  const second = measure('b', stop.signal);
  stop.abort();
  await second;
  const third = await measure('c');
  if (!third.ok) throw new Error('the third frame was not measured');
  expect(workers).toHaveLength(2);
  expect(third.value.measured.handle).toBe(first.value.measured.handle);
  expect((await client.tile(third.value.frame, 0, 0, 0)).ok).toBe(true);
  expect((await client.tile(first.value.frame, 0, 0, 0)).ok).toBe(false);
});
