import { failure, type Fault, type Outcome } from '../../workers/protocol/faults.ts';
import type { RunFrame, RunFrameOptions, RunFrameWorkerApi } from '../../workers/protocol/run.ts';
import { Pace } from './pace.ts';
import { WorkerLife, type WorkerLike } from './worker-life.ts';

/** A file that waits for its turn, under the name by which the run knows it. */
export interface RunTask {
  key: string;
  file: File;
}

export interface RunPoolOptions {
  /** How many workers at most. */
  workers: number;
  /** What each frame is measured with, asked anew for every frame. */
  options: () => RunFrameOptions;
  onBegin: (key: string) => void;
  /** A frame is done, or could not be measured. Never called for a frame that was stopped. */
  onAnswer: (task: RunTask, outcome: Outcome<RunFrame>) => void;
  make?: () => WorkerLike;
  /** A worker that says nothing for so long is given up. */
  patienceMs?: number;
  pace?: Pace;
}

/** A disk that went to sleep, an old machine and a fit together stay well below this. */
const PATIENCE_MS = 240_000;
const STOPPED: Fault = { code: 'cancelled', message: 'The run was stopped.' };

type Life = WorkerLife<RunFrameWorkerApi>;
interface Post {
  life: Life | null;
  busy: boolean;
}

/**
 * Many files, a few workers, one frame in each at a time: memory holds as many frames as there are workers, whatever
 * the run's length. A worker that breaks down is replaced and its frame tried once more; a file that cannot be
 * measured is answered with the reason, and the run goes on.
 */
export class RunPool {
  readonly #posts: Post[];
  readonly #given: RunPoolOptions;
  readonly #pace: Pace;
  #waiting: RunTask[] = [];
  #under = 0;
  #paused = false;
  /** Counts stops: answers to what was asked before one are not heard. */
  #round = 0;

  constructor(given: RunPoolOptions) {
    this.#given = given;
    this.#posts = Array.from({ length: given.workers }, () => ({ life: null, busy: false }));
    this.#pace = given.pace ?? new Pace();
  }

  /** Frames that are not answered yet. */
  get left(): number {
    return this.#waiting.length + this.#under;
  }
  get paused(): boolean {
    return this.#paused;
  }
  /** Seconds until nothing is left; null while that cannot be told. */
  get secondsLeft(): number | null {
    return this.#pace.secondsFor(this.left);
  }

  add(tasks: readonly RunTask[]): void {
    this.#waiting.push(...tasks);
    this.#fill();
  }

  /** Frames under way are finished, no other is begun. */
  pause(): void {
    this.#paused = true;
  }
  resume(): void {
    this.#paused = false;
    this.#fill();
  }

  /** Ends the workers at once. Gives the tasks that were not answered. */
  stop(): RunTask[] {
    this.#round++;
    const left = this.#waiting;
    this.#waiting = [];
    this.#under = 0;
    this.#paused = false;
    this.#pace.rest();
    for (const post of this.#posts) {
      post.life?.end(STOPPED);
      post.life = null;
      post.busy = false;
    }
    return left;
  }

  #fill(): void {
    for (const post of this.#posts) {
      if (this.#paused || this.#waiting.length === 0) return;
      if (!post.busy) void this.#work(post);
    }
  }

  /** One worker takes frame after frame until none is left or the run is paused. */
  async #work(post: Post): Promise<void> {
    const round = this.#round;
    post.busy = true;
    this.#pace.go();
    for (let task = this.#next(); task; task = this.#next()) {
      this.#given.onBegin(task.key);
      const outcome = await this.#measure(post, task, round);
      if (round !== this.#round) return;
      this.#under--;
      this.#pace.done();
      this.#given.onAnswer(task, outcome);
      if (round !== this.#round) return;
    }
    post.busy = false;
    if (this.#under === 0) {
      this.#pace.rest();
      this.#dismiss();
    }
  }

  #next(): RunTask | null {
    const task = this.#paused ? undefined : this.#waiting.shift();
    if (task) this.#under++;
    return task ?? null;
  }

  async #measure(post: Post, task: RunTask, round: number): Promise<Outcome<RunFrame>> {
    const first = await this.#ask(post, task);
    if (first.ok || first.fault.code !== 'internal' || round !== this.#round) return first;
    const second = await this.#ask(post, task);
    if (second.ok || second.fault.code !== 'internal') return second;
    return failure(
      'internal',
      `The analysis broke down twice on this file and leaves it out (${second.fault.message}) The other frames are not touched.`,
    );
  }

  /** A mistake or a breakdown ends the worker: the next frame gets a fresh one. */
  async #ask(post: Post, task: RunTask): Promise<Outcome<RunFrame>> {
    if (!post.life || post.life.ended)
      post.life = new WorkerLife<RunFrameWorkerApi>((this.#given.make ?? startRunWorker)());
    const { life } = post;
    const timer = setTimeout(() => life.end(SILENT), this.#given.patienceMs ?? PATIENCE_MS);
    const outcome = await life.call((api) => api.measure(task.file, this.#given.options()));
    clearTimeout(timer);
    if (!outcome.ok && outcome.fault.code === 'internal') life.end(outcome.fault);
    return outcome;
  }

  /** Each worker holds memory for its largest frame: when all is done only the first stays, ready for the next. */
  #dismiss(): void {
    for (const post of this.#posts.slice(1)) {
      if (post.busy) continue;
      post.life?.end(STOPPED);
      post.life = null;
    }
  }
}

const SILENT: Fault = { code: 'internal', message: 'The worker did not answer for minutes.' };

/** A frame in memory takes about so many times the bytes of its file while it is measured. */
const BYTES_PER_FILE_BYTE = 3;
const MOST_WORKERS = 6;
const MOST_BYTES = 1.5e9;

/**
 * How many workers suit this machine: one core is left for the page, and all frames together stay below a quarter of
 * the memory (1.5 GB where the browser does not tell it).
 */
export function workersFor(cores: number, memoryGb: number | null, largestBytes: number): number {
  const room = memoryGb === null ? MOST_BYTES : Math.min(MOST_BYTES, memoryGb * 0.25e9);
  const byMemory = Math.floor(room / (BYTES_PER_FILE_BYTE * Math.max(largestBytes, 1)));
  return Math.max(1, Math.min(cores - 1, MOST_WORKERS, byMemory));
}

const startRunWorker = (): Worker =>
  new Worker(new URL('../../workers/run-frame.worker.ts', import.meta.url), {
    type: 'module',
    name: 'run-frame',
  });
