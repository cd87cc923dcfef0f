import type { Source } from '../protocol/source.ts';

/** Large enough that a call costs nothing beside its bytes, small enough to stay in the cache. */
const PIECE_BYTES = 1 << 20;

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

/** A file of the page. Its pieces share one buffer where the browser fills buffers of ours, so memory stays flat. */
export function fileSource(file: File): Source {
  return {
    name: file.name,
    sizeBytes: file.size,
    async read(from, to, signal) {
      signal?.throwIfAborted();
      return new Uint8Array(await orSentence(file, () => file.slice(from, to).arrayBuffer()));
    },
    async *stream(signal, from = 0) {
      const stream = (from === 0 ? file : file.slice(from)).stream();
      const reader = byobReader(stream);
      if (reader) yield* filled(file, reader, signal);
      else yield* given(file, stream.getReader(), signal);
    },
  };
}

function byobReader(stream: ReadableStream<Uint8Array>): ReadableStreamBYOBReader | null {
  try {
    return stream.getReader({ mode: 'byob' });
  } catch {
    return null; // a browser whose files are not byte streams
  }
}

async function* filled(file: File, reader: ReadableStreamBYOBReader, signal?: AbortSignal) {
  let buffer = new ArrayBuffer(PIECE_BYTES);
  try {
    for (;;) {
      signal?.throwIfAborted();
      const { done, value } = await orSentence(file, () => reader.read(new Uint8Array(buffer)));
      if (done || !value) return;
      yield value;
      buffer = value.buffer;
    }
  } finally {
    await reader.cancel().catch(() => {});
  }
}

async function* given(
  file: File,
  reader: ReadableStreamDefaultReader<Uint8Array>,
  signal?: AbortSignal,
): AsyncGenerator<Uint8Array> {
  try {
    for (;;) {
      signal?.throwIfAborted();
      const { done, value } = await orSentence(file, () => reader.read());
      if (done) return;
      yield value;
    }
  } finally {
    await reader.cancel().catch(() => {});
  }
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
