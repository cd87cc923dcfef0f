import type { Source } from '../protocol/source.ts';
import type { ByteOrigin } from './bytes.ts';
import { BZIP2 } from './bzip2.ts';
import { COMPRESS } from './compress.ts';
import { DecodeFault, sizeText } from './fault.ts';
import { GZIP } from './gzip.ts';
import { Garbled } from './inflate.ts';
import { mostUnpackedBytes } from './size.ts';

/** A way in which a whole file may be packed, known by its first bytes. */
export interface Packing {
  name: string;
  is(head: Uint8Array): boolean;
  /** The content in pieces; throws Garbled where it makes no sense. */
  unpack(source: Source, signal?: AbortSignal): AsyncIterable<Uint8Array>;
}

const PACKINGS: Packing[] = [GZIP, BZIP2, COMPRESS];

export const packingOf = (head: Uint8Array): Packing | null => PACKINGS.find(({ is }) => is(head)) ?? null;

/** What a packed source holds, unpacked while it is read; damage and what no camera made are told of in a sentence. */
export function unpacked(source: Source, packing: Packing): ByteOrigin {
  const limit = mostUnpackedBytes(source.sizeBytes);
  return {
    async *stream(signal) {
      let bytes = 0;
      try {
        for await (const piece of packing.unpack(source, signal)) {
          bytes += piece.length;
          if (bytes > limit)
            throw new DecodeFault(
              'too-large',
              `${source.name} is ${sizeText(source.sizeBytes)} but unpacks to more than ${sizeText(limit)}: no camera frame does that. Unpack it yourself and look at what it is.`,
            );
          yield piece;
        }
      } catch (error) {
        if (!(error instanceof Garbled)) throw error;
        throw new DecodeFault(
          'damaged',
          `${source.name} is a damaged ${packing.name} file: it stops making sense after ${sizeText(bytes)} of content. Copy it again from where it was made.`,
        );
      }
    },
  };
}
