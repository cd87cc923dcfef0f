import type { Estimate } from '../../workers/protocol/report.ts';
import type { RunFrame, RunLimits } from '../../workers/protocol/run.ts';
import type { StoppedFrame, StoppedTold } from '../../workers/protocol/stopped-drive.ts';
import { keep as pageKeep, settled, type Keep } from './keep.ts';
import type { KeptRun, KeptRunFrame } from './schema.ts';
import { Shelf } from './shelf.ts';

/** What focus positions count: steps of a motor, or turns of a knob. */
export type FocusUnit = 'steps' | 'turns';

/** A frame that tracked and then stood: what was found in it, and what the person adds. */
export interface StoppedSaid {
  frame: StoppedFrame;
  told: StoppedTold;
}

/** The drift of a run's field in declination, and where that field stood: one of two that give the polar axis. */
export interface KeptDrift {
  /** Arc seconds a minute, north positive. */
  decArcsecPerMin: Estimate;
  /** Middle of the run, milliseconds since 1970. */
  midTimeMs: number | null;
  /** West positive. */
  hourAngleH: number | null;
  declinationDeg: number | null;
}
/** Where a field stands, as the person says; what is null follows from the files. */
export interface FieldPlace {
  hourAngleH: number | null;
  /** In its stead: with the clock of the frames and the longitude it gives the hour angle. */
  rightAscensionH: number | null;
  declinationDeg: number | null;
}
/** What the person says of the two fields that give the polar axis. */
export interface PolarSaid {
  here: FieldPlace;
  there: FieldPlace;
  /** The other field: a run, a drift that was typed, or not told yet. */
  other: 'run' | 'typed' | null;
  /** That run, and its drift when it was chosen: it counts also when the run is no longer kept. */
  run: { id: number; title: string; drift: KeptDrift } | null;
  typed: { arcsecPerMin: number | null; errorArcsecPerMin: number | null; towards: 'north' | 'south' };
}
const NO_PLACE: FieldPlace = { hourAngleH: null, rightAscensionH: null, declinationDeg: null };
export const NO_POLAR: PolarSaid = {
  here: NO_PLACE,
  there: NO_PLACE,
  other: null,
  run: null,
  typed: { arcsecPerMin: null, errorArcsecPerMin: null, towards: 'north' },
};

/** One run in a line of the list, as it was last seen. */
export interface RunTold {
  headline: string;
  /** Middle of the first and the last exposure, milliseconds since 1970. */
  fromMs: number;
  toMs: number;
  firstFile: string;
  measured: number;
}

/** What is remembered of a run as a whole. */
export interface RunAbout {
  /** What the person said of frames, by their keys. */
  words: Record<string, 'keep' | 'drop'>;
  limits: Partial<RunLimits>;
  /** Keys of frames that were waiting when this was written. */
  waiting: string[];
  /** Focus positions that the person typed, by the frames' keys. */
  positions: Record<string, number>;
  focusUnit: FocusUnit;
  /** The frame that says where east and north lie. */
  stopped: StoppedSaid | null;
  polar: PolarSaid;
  told: RunTold | null;
  drift: KeptDrift | null;
  /** When it was last on the page, milliseconds since 1970. */
  seenMs: number;
  /** It was put away for another: it does not come back by itself. */
  putAway: boolean;
}
const NOTHING: RunAbout = {
  words: {},
  limits: {},
  waiting: [],
  positions: {},
  focusUnit: 'steps',
  stopped: null,
  polar: NO_POLAR,
  told: null,
  drift: null,
  seenMs: 0,
  putAway: false,
};

/** A kept run without its frames. */
export interface RunBrief {
  id: number;
  name: string;
  /** How many of its frames are still kept: the oldest of all runs are dropped first. */
  frames: number;
  told: RunTold | null;
  drift: KeptDrift | null;
  stopped: StoppedSaid | null;
  seenMs: number;
}
export interface KeptWhole {
  id: number;
  about: RunAbout;
  /** In the order in which they were measured. */
  frames: RunFrame[];
}

/** Runs with their frames, so that a closed page costs nothing but the files themselves. */
export class RunShelf {
  private readonly runs: Shelf<'runs'>;
  private readonly frames: Shelf<'runFrames'>;

  constructor(private readonly keep: Keep = pageKeep) {
    this.runs = new Shelf('runs', keep);
    this.frames = new Shelf('runFrames', keep);
  }

  /** Number of the new run; null when this browser keeps nothing. */
  async begin(name: string): Promise<number | null> {
    const id = await this.runs.add({ name, about: { ...NOTHING, seenMs: Date.now() } });
    await this.sweep();
    return id;
  }

  /** Adds one frame to a run. */
  async addFrame(runId: number, frame: RunFrame): Promise<boolean> {
    return (await this.frames.add({ runId, record: frame })) !== null;
  }

  async remember(runId: number, about: Partial<RunAbout>): Promise<void> {
    const run = await this.runs.get(runId);
    if (run) await this.runs.update({ ...run, about: { ...aboutOf(run), ...about, seenMs: Date.now() } });
  }

  /** All runs that are kept, the one last seen first. */
  async list(): Promise<RunBrief[]> {
    const briefs = await Promise.all(
      (await this.runs.newest()).map(async (run) => {
        const { told, drift, stopped, seenMs } = aboutOf(run);
        return {
          id: run.id,
          name: run.name,
          frames: await this.countOf(run.id),
          told,
          drift,
          stopped,
          seenMs,
        };
      }),
    );
    return briefs.sort((p, q) => q.seenMs - p.seenMs);
  }

  /** The run that was on the page last, with its frames; null when there is none, or it was put away. */
  async newest(): Promise<KeptWhole | null> {
    const [run] = (await this.runs.newest()).sort((p, q) => aboutOf(q).seenMs - aboutOf(p).seenMs);
    return run && !aboutOf(run).putAway ? this.whole(run) : null;
  }

  /** One run with its frames; null when it was forgotten. */
  async get(runId: number): Promise<KeptWhole | null> {
    const run = await this.runs.get(runId);
    return run && this.whole(run);
  }

  /** Forgets a run with its frames. Gives the way to bring it back, null when there was nothing. */
  async forget(runId: number): Promise<(() => Promise<void>) | null> {
    const run = await this.runs.get(runId);
    const frames = await this.recordsOf(runId);
    await this.runs.forget(runId);
    await this.frames.forget(...frames.map(({ id }) => id));
    if (!run) return null;
    return async () => {
      await this.runs.restore(run);
      for (const frame of frames) await this.frames.restore(frame);
    };
  }

  private async whole(run: KeptRun): Promise<KeptWhole> {
    const records = (await this.recordsOf(run.id)).map(({ record }) => record as RunFrame);
    return { id: run.id, about: aboutOf(run), frames: records.filter((frame) => frame?.format === 1) };
  }

  private async recordsOf(runId: number): Promise<KeptRunFrame[]> {
    const kept = await this.keep.within((database) => database.getAllFromIndex('runFrames', 'runId', runId));
    return kept ?? [];
  }

  private async countOf(runId: number): Promise<number> {
    return (await this.keep.within((database) => database.countFromIndex('runFrames', 'runId', runId))) ?? 0;
  }

  /** Frames of runs that the shelf dropped are of no use. */
  private async sweep(): Promise<void> {
    const orphans = await this.keep.within(async (database) => {
      const runs = new Set(await database.getAllKeys('runs'));
      const change = database.transaction('runFrames', 'readwrite');
      const lost: number[] = [];
      const owners = change.store.index('runId');
      for (let at = await owners.openKeyCursor(null, 'nextunique'); at; at = await at.continue())
        if (!runs.has(at.key)) lost.push(...(await owners.getAllKeys(at.key)));
      await settled(
        change,
        lost.map((id) => change.store.delete(id)),
      );
      return lost.length;
    });
    if (orphans) this.keep.relieved();
  }
}

/** Runs that an earlier version kept lack what was added since; they were seen when they were begun. */
const aboutOf = (run: KeptRun): RunAbout => ({
  ...NOTHING,
  seenMs: run.keptAtMs,
  ...(run.about as Partial<RunAbout> | null),
});
