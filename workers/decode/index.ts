import type { Progress } from '../protocol/api.ts';
import { failure, success, type Outcome } from '../protocol/faults.ts';
import type { Frame } from '../protocol/frame.ts';
import type { Source } from '../protocol/source.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { ByteReader } from './bytes.ts';
import { DecodeFault, isAbort } from './fault.ts';
import { gunzip, isGzip } from './gzip.ts';
import { HEAD_BYTES, type Reader } from './reader.ts';
import { strangerFault } from './strangers.ts';

/** The formats that are read, asked in this order. To add one: write its decoder, and a line here. */
const READERS: Reader[] = [
  { name: 'FITS', sniff: startsWith('SIMPLE  ='), load: () => import('./fits/decoder.ts') },
];

function startsWith(text: string): Reader['sniff'] {
  return (head) =>
    text.length <= head.length && [...text].every((letter, i) => head[i] === letter.charCodeAt(0));
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
): Promise<Outcome<Frame>> {
  const mark = kernels.arena.mark();
  const plain = new ByteReader(source, source.sizeBytes, signal);
  let bytes = plain;
  try {
    signal?.throwIfAborted();
    if (isGzip(await plain.peek(HEAD_BYTES))) {
      await plain.close();
      bytes = new ByteReader(gunzip(source), null, signal);
    }
    const head = (await bytes.peek(HEAD_BYTES)).slice();
    const reader = READERS.find((each) => each.sniff(head));
    if (!reader) throw strangerFault(source.name, head);
    const { decode } = await reader.load();
    return success(await decode({ name: source.name, bytes, kernels, onBytes: inSteps(onProgress) }));
  } catch (error) {
    kernels.arena.reset(mark);
    if (error instanceof DecodeFault) return { ok: false, fault: error.fault };
    if (isAbort(error)) return failure('cancelled', `Reading ${source.name} was cancelled.`);
    throw error;
  } finally {
    await bytes.close();
  }
}
