import { open, stat } from 'node:fs/promises';
import { basename } from 'node:path';
import { failure, success, type Outcome } from '../workers/protocol/faults.ts';
import type { Source } from '../workers/protocol/source.ts';

const PIECE_BYTES = 1 << 20;

/** A file on disk as a Source. A missing file, a folder and one that may not be read are faults with a sentence. */
export async function nodeSource(path: string): Promise<Outcome<Source>> {
  const name = basename(path);
  try {
    const facts = await stat(path);
    if (facts.isDirectory())
      return failure(
        'cannot-read',
        `${path} is a folder, not a file. Name the frames in it, for instance ${path}/*.fits`,
      );
    if (!facts.isFile())
      return failure(
        'cannot-read',
        `${path} is no ordinary file. Copy the frame to a disk and name it there.`,
      );
    await (await open(path)).close(); // so that a lack of permission shows at once
    return success(fileOnDisk(path, name, facts.size));
  } catch (error) {
    return failure('cannot-read', sentence(path, error));
  }
}

function fileOnDisk(path: string, name: string, sizeBytes: number): Source {
  return {
    name,
    sizeBytes,
    async read(from, to, signal) {
      signal?.throwIfAborted();
      for await (const piece of pieces(path, from, to - from, signal)) return piece;
      return new Uint8Array(0);
    },
    stream: (signal, from = 0) => pieces(path, from, PIECE_BYTES, signal),
  };
}

/** The file's bytes from `from` on in pieces of up to `pieceBytes`, all in the same buffer. */
async function* pieces(
  path: string,
  from: number,
  pieceBytes: number,
  signal?: AbortSignal,
): AsyncGenerator<Uint8Array> {
  const buffer = new Uint8Array(pieceBytes);
  const handle = await spoken(path, () => open(path));
  try {
    for (let at = from; ;) {
      signal?.throwIfAborted();
      const { bytesRead } = await spoken(path, () => handle.read(buffer, 0, pieceBytes, at));
      if (bytesRead === 0) return;
      yield buffer.subarray(0, bytesRead);
      at += bytesRead;
    }
  } finally {
    await handle.close();
  }
}

async function spoken<T>(path: string, action: () => Promise<T>): Promise<T> {
  try {
    return await action();
  } catch (error) {
    throw new Error(sentence(path, error), { cause: error });
  }
}

const SENTENCES: Record<string, string> = {
  ENOENT: 'does not exist. Look at the spelling and the folder.',
  ENOTDIR: 'does not exist: a part of its path is a file, not a folder.',
  EACCES: 'may not be read by you. Change its permissions, or copy it.',
  EPERM: 'may not be read by you. Change its permissions, or copy it.',
  EISDIR: 'is a folder, not a file. Name the frames in it.',
  EIO: 'could not be read from its disk. Check the card or disk, and copy the file again.',
  ENAMETOOLONG: 'has a name too long to be a file.',
  ELOOP: 'is a link that leads in a circle.',
};

function sentence(path: string, error: unknown): string {
  const code = (error as NodeJS.ErrnoException).code ?? '';
  return `${path} ${SENTENCES[code] ?? `could not be read (${code || String(error)}). Copy it and try again.`}`;
}
