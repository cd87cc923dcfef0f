import type { Source } from '../protocol/source.ts';

/** Large enough that a call costs nothing beside its bytes, small enough to stay in the cache. */
const PIECE_BYTES = 1 << 20;
/** A slice of a file costs milliseconds beside its bytes. */
const SLICE_BYTES = 8 << 20;
/** So many are under way at a time, one of them worked on: the browser reads them side by side. */
const SLICES_AHEAD = 3;

/** A buffer as a file: for tests and for what is already in memory. */
export function bytesSource(name: string, bytes: Uint8Array): Source {
  return {
    name,
    sizeBytes: bytes.length,
    async read(from, to, signal) {
      signal?.throwIfAborted();
      return bytes.subarray(from, to);
    },
    async *stream(signal, from = 0) {
      for (let at = from; at < bytes.length; at += PIECE_BYTES) {
        signal?.throwIfAborted();
        yield bytes.subarray(at, at + PIECE_BYTES);
      }
    },
  };
}

/**
 * A file of the page, read in slices, the next ones while the last is worked on. Not by `file.stream()`: in Chromium a
 * read of such a stream now and then never ends, about once in a hundred files of a run.
 */
export function fileSource(file: File): Source {
  const slice = async (from: number, to: number) =>
    new Uint8Array(await orSentence(file, () => file.slice(from, to).arrayBuffer()));
  return {
    name: file.name,
    sizeBytes: file.size,
    async read(from, to, signal) {
      signal?.throwIfAborted();
      return slice(from, to);
    },
    async *stream(signal, from = 0) {
      signal?.throwIfAborted();
      const coming: Promise<Uint8Array>[] = [];
      let asked = from;
      const ask = () => {
        if (asked >= file.size) return;
        const next = slice(asked, (asked += SLICE_BYTES));
        next.catch(() => {}); // told when its turn comes
        coming.push(next);
      };
      for (let i = 0; i < SLICES_AHEAD; i++) ask();
      while (coming.length > 0) {
        const bytes = await coming.shift()!;
        ask();
        yield bytes;
        signal?.throwIfAborted();
      }
    },
  };
}

/** The browser's own words ("NotReadableError") say nothing to a person. */
async function orSentence<T>(file: File, action: () => Promise<T>): Promise<T> {
  try {
    return await action();
  } catch (error) {
    throw new Error(
      `${file.name} could not be read: it was moved, changed or unplugged, or it is a folder. Choose it again.`,
      { cause: error },
    );
  }
}
