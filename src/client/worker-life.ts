import { wrap, type Remote } from 'comlink';
import type { Living } from '../../workers/protocol/api.ts';
import { failure, type Fault, type Outcome } from '../../workers/protocol/faults.ts';

/** What a worker must offer to be led: a real Worker, or a message channel in a test. */
export type WorkerLike = Pick<
  Worker,
  'postMessage' | 'addEventListener' | 'removeEventListener' | 'terminate'
>;

/**
 * One worker from birth to death. Comlink never settles a call that is pending on a dead worker, so each call also ends
 * with the worker, and death has a reason: a Fault that every pending call then answers with. Calls that were answered
 * leave nothing behind: a promise that all calls raced would hold every answer as long as the worker lives.
 */
export class WorkerLife<Api> {
  readonly #worker: WorkerLike;
  readonly #remote: Remote<Api>;
  /** One for each call that is not answered. */
  readonly #pending = new Set<(why: Fault) => void>();
  ended: Fault | null = null;

  constructor(worker: WorkerLike) {
    this.#worker = worker;
    this.#remote = wrap<Api>(worker);
    worker.addEventListener('error', (event) => this.end(broken((event as ErrorEvent).message)));
    worker.addEventListener('messageerror', () => this.end(broken('a message could not be read')));
    worker.addEventListener('message', (event) => this.#watch((event as MessageEvent<Partial<Living>>).data));
  }

  /** A worker that is ended by the browser says nothing; but the lock that it held becomes free. */
  #watch({ living }: Partial<Living>): void {
    if (living === undefined) return;
    const gone = () => this.end(broken('the browser ended it, probably for want of memory'));
    navigator.locks.request(living, gone).catch(() => {});
  }

  /** Ends the worker for good; every pending call answers with `why`. Later calls answer with the first reason. */
  end(why: Fault): void {
    if (this.ended) return;
    this.ended = why;
    this.#worker.terminate();
    for (const die of this.#pending) die(why);
    this.#pending.clear();
  }

  /** Never rejects: a throw on the other side is a mistake of ours and comes back as an `internal` fault. */
  async call<T>(work: (api: Remote<Api>) => Promise<Outcome<T>>): Promise<Outcome<T>> {
    if (this.ended) return { ok: false, fault: this.ended };
    return new Promise<Outcome<T>>((resolve) => {
      const die = (why: Fault) => resolve({ ok: false, fault: why });
      this.#pending.add(die);
      void work(this.#remote)
        .catch((error: unknown) =>
          failure('internal', `The analysis stopped on a mistake of its own (${detail(error)}).`),
        )
        .then((outcome) => {
          this.#pending.delete(die);
          resolve(outcome);
        });
    });
  }
}

const detail = (error: unknown): string => (error instanceof Error ? error.message : String(error));

const broken = (why: string | undefined): Fault => ({
  code: 'internal',
  message: `The analysis broke down (${why || 'the browser gives no reason'}). It starts afresh with the next frame: open this one again, or a smaller one.`,
});
