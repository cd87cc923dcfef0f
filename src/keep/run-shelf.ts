import type { RunFrame, RunLimits } from '../../workers/protocol/run.ts';
import { keep as pageKeep, type Keep } from './keep.ts';
import type { KeptRun } from './schema.ts';
import { Shelf } from './shelf.ts';

/** What is remembered of a run as a whole. */
export interface RunAbout {
  /** What the person said of frames, by their keys. */
  words: Record<string, 'keep' | 'drop'>;
  limits: Partial<RunLimits>;
  /** Keys of frames that were waiting when this was written. */
  waiting: string[];
}
const NOTHING: RunAbout = { words: {}, limits: {}, waiting: [] };

/** Runs with their frames, so that a closed page costs nothing but the files themselves. */
export class RunShelf {
  private readonly runs: Shelf<'runs'>;
  private readonly frames: Shelf<'runFrames'>;

  constructor(private readonly keep: Keep = pageKeep) {
    this.runs = new Shelf('runs', keep);
    this.frames = new Shelf('runFrames', keep);
  }

  /** Number of the new run; null when this browser keeps nothing. */
  begin(name: string): Promise<number | null> {
    return this.runs.add({ name, about: NOTHING });
  }

  /** Adds one frame to a run. */
  async addFrame(runId: number, frame: RunFrame): Promise<boolean> {
    return (await this.frames.add({ runId, record: frame })) !== null;
  }

  async remember(runId: number, about: RunAbout): Promise<void> {
    const run = await this.runs.get(runId);
    if (run) await this.runs.update({ ...run, about });
  }

  /** The newest run with its frames, in the order in which they were measured; null when there is none. */
  async newest(): Promise<{ run: KeptRun; about: RunAbout; frames: RunFrame[] } | null> {
    const [run] = await this.runs.newest(1);
    if (!run) return null;
    const frames = await this.framesOf(run.id);
    return { run, about: { ...NOTHING, ...(run.about as Partial<RunAbout> | null) }, frames };
  }

  async forget(runId: number): Promise<void> {
    await this.runs.forget(runId);
    const ids = await this.keep.within((database) =>
      database.getAllKeysFromIndex('runFrames', 'runId' as never, runId as never),
    );
    await this.frames.forget(...((ids ?? []) as number[]));
  }

  private async framesOf(runId: number): Promise<RunFrame[]> {
    const kept = await this.keep.within((database) => database.getAllFromIndex('runFrames', 'runId', runId));
    return (kept ?? []).map(({ record }) => record as RunFrame).filter((frame) => frame?.format === 1);
  }
}
