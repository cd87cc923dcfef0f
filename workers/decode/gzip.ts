import type { Source } from '../protocol/source.ts';
import type { ByteOrigin } from './bytes.ts';
import { DecodeFault, isAbort, sizeText } from './fault.ts';

/** RFC 1952: two magic bytes and the only method in use, deflate. */
export const isGzip = (head: Uint8Array): boolean => head[0] === 0x1f && head[1] === 0x8b && head[2] === 8;

/**
 * Deflate packs at most 1032 to 1, and only where all bytes are the same; a camera's frame never reaches 10 to 1. So
 * what unpacks to more than this was not made by a camera.
 */
const mostUnpackedBytes = (packedBytes: number) => (256 << 20) + 100 * packedBytes;

/** What a gzipped source holds, unpacked piece by piece while it is read, by the platform's own decoder. */
export function gunzip(source: Source): ByteOrigin {
  const limit = mostUnpackedBytes(source.sizeBytes);
  return {
    async *stream(signal) {
      const packed = packedStream(source, signal);
      const unpacked = packed.readable.pipeThrough(
        new DecompressionStream('gzip') as unknown as ReadableWritablePair<Uint8Array, Uint8Array>,
      );
      const reader = unpacked.getReader();
      let bytes = 0;
      try {
        for (;;) {
          const { done, value } = await reader.read();
          if (done) return;
          bytes += value.length;
          if (bytes > limit)
            throw new DecodeFault(
              'too-large',
              `${source.name} is ${sizeText(source.sizeBytes)} but unpacks to more than ${sizeText(limit)}: no camera frame does that. Unpack it yourself and look at what it is.`,
            );
          yield value;
        }
      } catch (error) {
        const first = packed.failure() ?? error;
        if (isAbort(first) || first instanceof DecodeFault) throw first;
        if (packed.failure()) throw first;
        throw new DecodeFault(
          'damaged',
          `${source.name} is a damaged gzip file: it stops making sense after ${sizeText(bytes)} of content. Copy it again from where it was made.`,
        );
      } finally {
        await reader.cancel().catch(() => {});
      }
    },
  };
}

/** The packed bytes as a stream, and the error that the source itself gave, if any. */
function packedStream(source: Source, signal?: AbortSignal) {
  const pieces = source.stream(signal)[Symbol.asyncIterator]();
  let failed: unknown = null;
  const readable = new ReadableStream<Uint8Array>(
    {
      async pull(controller) {
        try {
          const { done, value } = await pieces.next();
          if (done) controller.close();
          else controller.enqueue(value.slice()); // the source may fill the same buffer again
        } catch (error) {
          failed = error;
          controller.error(error);
        }
      },
      async cancel() {
        await pieces.return?.();
      },
    },
    { highWaterMark: 1 },
  );
  return { readable, failure: () => failed };
}
