import type { StampSet } from '../protocol/stamps.ts';
import type { Optics } from './optics.ts';
import type { Question, StarJob, StarPool } from './star-pool.ts';
import type { StarAnswer } from './star-solve.ts';

/**
 * What a helper thread offers: for each pool that it serves one of its own, over the stamps that it is given once. Fits
 * of several frames keep several pools at a time; `pool` is the number that whoever loads it gives it.
 */
export interface StarThreadApi {
  load(pool: number, stamps: StampSet, optics: Optics): Promise<void>;
  evaluate(pool: number, question: Question, jobs: readonly StarJob[]): Promise<StarAnswer[]>;
  freeze(pool: number, question: Question, jobs: readonly StarJob[], modelError: number): Promise<void>;
  setOptics(pool: number, optics: Optics): Promise<void>;
  drop(pool: number): Promise<void>;
}

/** A helper thread and how to end it. */
export interface StarThread {
  api: StarThreadApi;
  close(): void;
}

/**
 * A pool over this thread and some helpers. A star always goes to the same member, because that one holds its frozen
 * variances. The helpers are asked first, then this thread computes its own share while they do theirs.
 */
export class SharedStarPool implements StarPool {
  static #made = 0;

  private constructor(
    private readonly number: number,
    private readonly own: StarPool,
    private readonly threads: StarThread[],
  ) {}

  static async create(
    own: StarPool,
    threads: StarThread[],
    stamps: StampSet,
    optics: Optics,
  ): Promise<SharedStarPool> {
    const number = ++SharedStarPool.#made;
    await Promise.all(threads.map(({ api }) => api.load(number, stamps, optics)));
    return new SharedStarPool(number, own, threads);
  }

  async evaluate(question: Question, jobs: readonly StarJob[], signal?: AbortSignal): Promise<StarAnswer[]> {
    signal?.throwIfAborted();
    const shares = this.shares(jobs);
    const asked = this.threads.map(({ api }, i) => api.evaluate(this.number, question, shares[i + 1]));
    const answers = (await Promise.all([this.own.evaluate(question, shares[0], signal), ...asked])).flat();
    const byStar = new Map(answers.map((answer) => [answer.star, answer]));
    return jobs.map((job) => byStar.get(job.star)!);
  }

  async freeze(question: Question, jobs: readonly StarJob[], modelError: number): Promise<void> {
    const shares = this.shares(jobs);
    const asked = this.threads.map(({ api }, i) =>
      api.freeze(this.number, question, shares[i + 1], modelError),
    );
    await Promise.all([this.own.freeze(question, shares[0], modelError), ...asked]);
  }

  async setOptics(optics: Optics): Promise<void> {
    await Promise.all([
      this.own.setOptics(optics),
      ...this.threads.map(({ api }) => api.setOptics(this.number, optics)),
    ]);
  }

  close(): void {
    this.own.close();
    for (const { api, close } of this.threads) {
      // A thread that ends with its pool has no need of an answer.
      api.drop(this.number).catch(() => {});
      close();
    }
  }

  private shares(jobs: readonly StarJob[]): StarJob[][] {
    const members = this.threads.length + 1;
    const shares = Array.from({ length: members }, () => [] as StarJob[]);
    for (const job of jobs) shares[job.star % members].push(job);
    return shares;
  }
}
