import type { Progress } from '../protocol/api.ts';
import { failure, success, type Outcome } from '../protocol/faults.ts';
import type { PictureChoice } from '../protocol/reading.ts';
import type { Source } from '../protocol/source.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { Anywhere } from './anywhere.ts';
import { ByteReader } from './bytes.ts';
import { DecodeFault, isAbort } from './fault.ts';
import { packingOf, unpacked } from './packing.ts';
import { HEAD_BYTES, type Decoded, type Reader } from './reader.ts';
import { mostUnpackedBytes } from './size.ts';
import { bytesSource } from './sources.ts';
import { isForeignRaw, strangerFault } from './strangers.ts';

/** The formats that are read, asked in this order. To add one: write its decoder, and a line here. */
const READERS: Reader[] = [
  { name: 'FITS', sniff: begins('SIMPLE  ='), load: () => import('./fits/decoder.ts') },
  {
    name: 'TIFF',
    sniff: (head) => isTiff(head) && !isForeignRaw(head),
    load: () => import('./tiff/decoder.ts'),
  },
  { name: 'PNG', sniff: begins('\x89PNG\r\n\x1a\n'), load: () => import('./png/decoder.ts') },
  { name: 'JPEG', sniff: begins('\xff\xd8\xff'), load: () => import('./jpeg/decoder.ts') },
];

const isTiff = begins('II*\0', 'MM\0*', 'II+\0', 'MM\0+');

function begins(...texts: string[]): Reader['sniff'] {
  return (head) =>
    texts.some(
      (text) =>
        text.length <= head.length && [...text].every((letter, i) => head[i] === letter.charCodeAt(0)),
    );
}

/** Progress goes to another thread: often enough for a bar that moves, not with every piece. */
const MOST_REPORTS = 50;

function inSteps(onProgress: (progress: Progress) => void) {
  let reported = -Infinity;
  return (done: number, total: number) => {
    if (done < total && done - reported < total / MOST_REPORTS) return;
    reported = done;
    onProgress({ stage: 'reading', done, total });
  };
}

/**
 * From a file's bytes to a frame in the kernels' memory. The pixels are the arena's newest allocation (what a failed
 * attempt allocated is given back); the caller marks and resets. Whatever is wrong with the file comes back as a fault
 * with one sentence; a throw is a mistake of ours.
 */
export async function decodeFrame(
  source: Source,
  kernels: Kernels,
  signal?: AbortSignal,
  onProgress: (progress: Progress) => void = () => {},
  choice: PictureChoice = {},
): Promise<Outcome<Decoded>> {
  const mark = kernels.arena.mark();
  const plain = new ByteReader(source, source.sizeBytes, signal);
  let bytes = plain;
  try {
    signal?.throwIfAborted();
    const packing = packingOf(await plain.peek(HEAD_BYTES));
    const again = () =>
      packing
        ? new ByteReader(unpacked(source, packing), null, signal)
        : new ByteReader(source, source.sizeBytes, signal);
    if (packing) {
      await plain.close();
      bytes = again();
    }
    const head = (await bytes.peek(HEAD_BYTES)).slice();
    const reader = READERS.find((each) => each.sniff(head));
    if (!reader) throw strangerFault(source.name, head);
    const anywhere = async () => {
      if (!packing) return new Anywhere(source, signal);
      const content = await bytes.take(mostUnpackedBytes(source.sizeBytes));
      return new Anywhere(bytesSource(source.name, content), signal);
    };
    const { decode } = await reader.load();
    return success(
      await decode({
        name: source.name,
        bytes,
        again,
        anywhere,
        fileBytes: source.sizeBytes,
        choice,
        kernels,
        onBytes: inSteps(onProgress),
      }),
    );
  } catch (error) {
    kernels.arena.reset(mark);
    if (error instanceof DecodeFault) return { ok: false, fault: error.fault };
    if (isAbort(error)) return failure('cancelled', `Reading ${source.name} was cancelled.`);
    throw error;
  } finally {
    await bytes.close();
  }
}
