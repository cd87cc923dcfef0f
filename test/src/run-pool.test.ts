import { expose } from 'comlink';
import { expect, test } from 'vitest';
import { Pace } from '../../src/client/pace.ts';
import { RunPool, workersFor, type RunTask } from '../../src/client/run-pool.ts';
import type { WorkerLike } from '../../src/client/worker-life.ts';
import { failure, success, type Outcome } from '../../workers/protocol/faults.ts';
import type { RunFrame, RunFrameWorkerApi } from '../../workers/protocol/run.ts';

type Measure = RunFrameWorkerApi['measure'];
class FakeWorker extends EventTarget implements WorkerLike {
  readonly #port: MessagePort;
  terminated = false;
  constructor(measure: Measure) {
    super();
    const { port1, port2 } = new MessageChannel();
    expose({ measure }, port2);
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

const frameOf = (name: string): RunFrame => ({
  format: 1,
  name,
  sizeBytes: 1,
  changedMs: 0,
  record: null,
  fault: null,
  sky: null,
});
const good: Measure = async (file) => success(frameOf(file.name));
const never: Measure = () => new Promise(() => {});
// Node's message channels clone a File without its name, so a bare object stands for it.
const tasksOf = (...names: string[]): RunTask[] =>
  names.map((name) => ({ key: name, file: { name } as File }));

/** The nth worker that is made measures by the nth of `measures` (the last for all later ones). */
function setUp(workers: number, ...measures: ((worker: FakeWorker) => Measure)[]) {
  const made: FakeWorker[] = [];
  const answers: [string, Outcome<RunFrame>][] = [];
  const begun: string[] = [];
  const waits: (() => void)[] = [];
  const pool = new RunPool({
    workers,
    options: () => ({ rig: {}, fit: false }),
    onBegin: (key) => begun.push(key),
    onAnswer: (task, outcome) => {
      answers.push([task.key, outcome]);
      waits.splice(0).forEach((go) => go());
    },
    make: () => {
      const make = measures[Math.min(made.length, measures.length - 1)];
      const worker: FakeWorker = new FakeWorker((file, options) => make(worker)(file, options));
      made.push(worker);
      return worker;
    },
    // Only where a worker never answers may it be given up: a busy machine is slow, not silent.
    patienceMs: measures.some((make) => make === stuck) ? 200 : 60_000,
  });
  const until = async (count: number) => {
    while (answers.length < count) await new Promise<void>((go) => waits.push(go));
  };
  return { pool, made, answers, begun, until };
}
const always = (measure: Measure) => () => measure;
const stuck = always(never);
const crash = (worker: FakeWorker): Measure => {
  return () => {
    worker.dispatchEvent(Object.assign(new Event('error'), { message: 'out of memory' }));
    return new Promise(() => {});
  };
};

test('all frames are measured by as many workers as there are, one frame in each at a time', async () => {
  let now = 0;
  let most = 0;
  const { pool, made, answers, until } = setUp(
    3,
    always(async (file) => {
      most = Math.max(most, ++now);
      await new Promise((go) => setTimeout(go, 2));
      now--;
      return good(file, { rig: {}, fit: false });
    }),
  );
  const names = Array.from({ length: 20 }, (_, i) => `f${i}`);
  pool.add(tasksOf(...names));
  await until(20);
  expect(answers.map(([key]) => key).sort()).toEqual([...names].sort());
  expect([made.length, most, pool.left]).toEqual([3, 3, 0]);
  // What is held for the largest frame is given back, but for one worker that waits for the next.
  await new Promise((go) => setTimeout(go));
  expect(made.filter((worker) => worker.terminated)).toHaveLength(2);
});

test('a file that cannot be measured is answered with its reason and the others go on', async () => {
  const { pool, made, answers, until } = setUp(
    1,
    always(async (file) =>
      file.name === 'b' ? failure('not-a-frame', 'This is a letter.') : success(frameOf(file.name)),
    ),
  );
  pool.add(tasksOf('a', 'b', 'c'));
  await until(3);
  expect(answers.map(([key, outcome]) => [key, outcome.ok])).toEqual([
    ['a', true],
    ['b', false],
    ['c', true],
  ]);
  expect(made).toHaveLength(1);
});

test('a crash replaces the worker and the frame is tried once more', async () => {
  const { pool, made, answers, until } = setUp(1, crash, always(good));
  pool.add(tasksOf('a', 'b'));
  await until(2);
  expect(answers.map(([key, { ok }]) => [key, ok])).toEqual([
    ['a', true],
    ['b', true],
  ]);
  expect(made.map((worker) => worker.terminated)).toEqual([true, false]);
});

test('a frame that breaks two workers is left out with a sentence, and the next gets a third', async () => {
  const { pool, made, answers, until } = setUp(1, crash, crash, always(good));
  pool.add(tasksOf('bad', 'fine'));
  await until(2);
  const [, bad] = answers[0];
  expect(!bad.ok && bad.fault.code).toBe('internal');
  expect(!bad.ok && bad.fault.message).toMatch(/broke down twice on this file.*out of memory/);
  expect(answers[1][1].ok).toBe(true);
  expect(made).toHaveLength(3);
});

test('a worker that never answers is given up', async () => {
  const { pool, made, answers, until } = setUp(1, stuck, stuck, always(good));
  pool.add(tasksOf('hangs', 'fine'));
  await until(2);
  expect(answers.map(([key, { ok }]) => [key, ok])).toEqual([
    ['hangs', false],
    ['fine', true],
  ]);
  expect(made.map((worker) => worker.terminated)).toEqual([true, true, false]);
});

test('a pause lets frames under way finish and begins no other; going on takes up the rest', async () => {
  const { pool, answers, begun, until } = setUp(2, always(good));
  pool.add(tasksOf('a', 'b', 'c', 'd', 'e'));
  pool.pause();
  await until(2);
  await new Promise((go) => setTimeout(go, 20));
  expect([answers.length, begun.length, pool.left]).toEqual([2, 2, 3]);
  pool.add(tasksOf('f'));
  expect(begun).toHaveLength(2);
  pool.resume();
  await until(6);
  expect(begun).toEqual(['a', 'b', 'c', 'd', 'e', 'f']);
});

test('stopping ends the workers, gives back what waits, and hears nothing more', async () => {
  const { pool, made, answers, until } = setUp(1, stuck, always(good));
  pool.add(tasksOf('a', 'b', 'c'));
  expect(pool.stop().map(({ key }) => key)).toEqual(['b', 'c']);
  expect(made[0].terminated).toBe(true);
  await new Promise((go) => setTimeout(go, 20));
  expect(answers).toEqual([]);
  pool.add(tasksOf('b'));
  await until(1);
  expect(answers[0][0]).toBe('b');
  expect(pool.left).toBe(0);
});

test('the time left follows the pace of the last frames, pauses left out', () => {
  let now = 0;
  const pace = new Pace(() => now);
  pace.go();
  expect(pace.secondsFor(10)).toBeNull();
  for (let i = 0; i < 40; i++) {
    now += 1000;
    pace.done();
  }
  expect(pace.secondsFor(10)).toBeCloseTo(10, 9);
  pace.rest();
  now += 1e6;
  pace.go();
  for (let i = 0; i < 40; i++) {
    now += 3000;
    pace.done();
  }
  expect(pace.secondsFor(10)).toBeCloseTo(30, 9);
});

test('workers: one core stays free, and all frames fit into the memory', () => {
  // Common practice, no source: at least one, whatever the machine.
  expect(workersFor(1, null, 4e6)).toBe(1);
  expect(workersFor(4, 8, 4e6)).toBe(3);
  expect(workersFor(16, 8, 4e6)).toBe(6);
  // Files of 120 MB on a machine of 2 GB: one at a time.
  expect(workersFor(8, 2, 120e6)).toBe(1);
});
