import type { RunFrame } from '../../workers/protocol/run.ts';
import type { RunAbout, RunShelf } from './run-shelf.ts';

/** What hands do is written at once, what comes by itself at leisure. */
export type Haste = 'now' | 'by-and-by';
const WAIT_MS: Record<Haste, number> = { now: 150, 'by-and-by': 2000 };

/** The run on the page as it is kept: begun with its first file, written as it grows. */
export class RunMemory {
  #id: Promise<number | null> | null = null;
  #due: { timer: ReturnType<typeof setTimeout>; atMs: number } | null = null;

  /** `about`: the run as it is now. */
  constructor(
    private readonly shelf: RunShelf,
    private readonly about: () => Partial<RunAbout>,
  ) {}

  /** Number of the run; null while there is none, or where this browser keeps nothing. */
  get id(): Promise<number | null> {
    return this.#id ?? Promise.resolve(null);
  }

  begin(name: string): void {
    this.#id ??= this.shelf.begin(name);
  }

  /** The run on the page is one that was kept. */
  adopt(runId: number): void {
    this.#id = Promise.resolve(runId);
    this.remember('now');
  }

  add(frame: RunFrame): void {
    void this.#id?.then((id) => id !== null && this.shelf.addFrame(id, frame));
  }

  remember(haste: Haste): void {
    const atMs = Date.now() + WAIT_MS[haste];
    if (this.#due && this.#due.atMs <= atMs) return;
    if (this.#due) clearTimeout(this.#due.timer);
    this.#due = { atMs, timer: setTimeout(() => void this.write(), WAIT_MS[haste]) };
  }

  /** The page is leaving the screen and may not come back: what is due is written at once. */
  hurry(): void {
    if (this.#due) void this.write();
  }

  /** Writes what is due, at once. */
  async write(more: Partial<RunAbout> = {}): Promise<void> {
    if (this.#due) clearTimeout(this.#due.timer);
    this.#due = null;
    const about = { ...this.about(), putAway: false, ...more };
    const id = await this.#id;
    if (id !== null && id !== undefined) await this.shelf.remember(id, about);
  }

  /** The run leaves the page: it is kept, or forgotten. */
  async letGo(forget: boolean): Promise<void> {
    const id = this.#id;
    const written = this.#id && !forget ? this.write({ putAway: true }) : Promise.resolve();
    if (this.#due) clearTimeout(this.#due.timer);
    this.#due = null;
    this.#id = null;
    await written;
    const number = await id;
    if (forget && typeof number === 'number') await this.shelf.forget(number);
  }
}
