import { mayBeFrame } from './frame-files.ts';

/** What is read of a folder: the browser's handle, or anything like it. */
export interface WatchedFolder {
  readonly name: string;
  values(): AsyncIterable<FileSystemHandle>;
}

export interface FolderWatchOptions {
  /** Files that have come to rest since the last look. */
  onFiles: (files: File[]) => void;
  /** The folder can no longer be read. */
  onLost: (error: unknown) => void;
  everyMs?: number;
  now?: () => number;
}

const EVERY_MS = 2000;
/** A file that was written so long ago is complete, whenever it is first seen. */
const SETTLED_MS = 15_000;
/** Nights lie in folders of their own, targets in folders below; deeper than this nobody hides frames. */
const DEEPEST = 3;

/**
 * Looks into a folder every two seconds. A file is handed over when its size and date were the same at two looks in a
 * row, so that a frame which is still being written is left alone; it is handed over once.
 */
export class FolderWatch {
  readonly #given = new Set<string>();
  readonly #growing = new Map<string, string>();
  #timer: ReturnType<typeof setTimeout> | null = null;
  #over = false;

  constructor(
    private readonly folder: WatchedFolder,
    private readonly options: FolderWatchOptions,
  ) {}

  start(): void {
    void this.#turn();
  }

  end(): void {
    this.#over = true;
    if (this.#timer) clearTimeout(this.#timer);
  }

  async #turn(): Promise<void> {
    try {
      const files = await this.look();
      if (this.#over) return;
      if (files.length > 0) this.options.onFiles(files);
    } catch (error) {
      if (!this.#over) this.options.onLost(error);
      this.#over = true;
      return;
    }
    this.#timer = setTimeout(() => void this.#turn(), this.options.everyMs ?? EVERY_MS);
  }

  /** One look: the files that have come to rest. Throws when the folder itself cannot be read. */
  async look(): Promise<File[]> {
    const ready: File[] = [];
    await this.#within(this.folder, '', 0, ready);
    return ready;
  }

  async #within(folder: WatchedFolder, path: string, depth: number, ready: File[]): Promise<void> {
    for await (const handle of folder.values()) {
      const name = `${path}/${handle.name}`;
      if (this.#given.has(name)) continue;
      if (handle.kind === 'directory') {
        if (depth >= DEEPEST) continue;
        // A folder below that vanishes or is locked is no reason to lose the others.
        await this.#within(handle as unknown as WatchedFolder, name, depth + 1, ready).catch(() => {});
        continue;
      }
      const file = await (handle as FileSystemFileHandle).getFile().catch(() => null);
      // Not readable yet: whoever writes it holds it.
      if (!file || !mayBeFrame(file)) continue;
      const state = `${file.size}|${file.lastModified}`;
      const settled = (this.options.now ?? Date.now)() - file.lastModified > SETTLED_MS;
      if (settled || this.#growing.get(name) === state) {
        this.#given.add(name);
        this.#growing.delete(name);
        ready.push(file);
      } else this.#growing.set(name, state);
    }
  }
}
