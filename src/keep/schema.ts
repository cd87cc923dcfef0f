import type { DBSchema } from 'idb';
import type { MeanStar } from '../../workers/protocol/api.ts';
import type { FrameReport } from '../../workers/protocol/report.ts';

/**
 * What this browser keeps, one store per kind. Nothing here holds pixels, places or names other than a file's.
 * A record that a later version of the page writes differently gets another `format`, and an older one is left out.
 */
export const DATABASE = 'cornerwise';
/** A new store or index: add one here, and its making to `upgrade` in keep.ts. */
export const DATABASE_VERSION = 1;
export const RECORD_FORMAT = 1;

/** What every record of a shelf has; `id` and `format` are given by the shelf. */
export interface Numbered {
  id: number;
  format: typeof RECORD_FORMAT;
  /** When it was kept, milliseconds since 1970. */
  keptAtMs: number;
}

/** A frame that was measured: what was found, not the frame. */
export interface KeptFrame extends Numbered {
  /** Tells the same picture of the same file from another: name, size, date of change, picture. */
  fileKey: string;
  /** Title of a demo frame; null for somebody's own. */
  demo: string | null;
  /** Start of the exposure as the file says, ISO 8601 UTC. */
  startTime: string | null;
  report: FrameReport;
  meanStars: MeanStar[];
}

/** A run of frames that was watched; its frames are records of their own, so that one more costs little. */
export interface KeptRun extends Numbered {
  name: string;
  /** Whatever the room that watches wants to remember of the whole run. */
  about: unknown;
}
export interface KeptRunFrame extends Numbered {
  runId: number;
  /** At most about 100 kB: a report and the brightest stars, no pixels. */
  record: unknown;
}

/** A folder that somebody let this page read; the browser asks again before it is read another time. */
export interface KeptFolder extends Numbered {
  name: string;
  handle: FileSystemDirectoryHandle;
}

export interface Shelves {
  frames: KeptFrame;
  runs: KeptRun;
  runFrames: KeptRunFrame;
  folders: KeptFolder;
}
export type ShelfName = keyof Shelves;

/** How many records a shelf holds before the oldest is dropped: some tens of megabytes at most, all together. */
export const MOST: Record<ShelfName, number> = {
  frames: 24,
  runs: 12,
  runFrames: 3000,
  folders: 6,
};

type Stored<T extends Numbered, Indexes extends Record<string, IDBValidKey> = Record<never, IDBValidKey>> = {
  key: number;
  value: T;
  indexes: Indexes;
};
export interface Schema extends DBSchema {
  /** Rig and preferences: small things with a name each. */
  settings: { key: string; value: unknown };
  frames: Stored<KeptFrame>;
  runs: Stored<KeptRun>;
  runFrames: Stored<KeptRunFrame, { runId: number }>;
  folders: Stored<KeptFolder>;
}

export type StoreName = 'settings' | ShelfName;
/** What lies in stores, to be counted or laid back. */
export type Contents = { store: StoreName; keys: IDBValidKey[]; values: unknown[] }[];
