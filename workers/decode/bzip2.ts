import { ByteReader } from './bytes.ts';
import { Garbled } from './inflate.ts';
import type { Packing } from './packing.ts';

/** A packed block is never longer: 900 000 symbols of at most 20 bits, and its tables. */
const MOST_BLOCK_BYTES = 2.4e6;

/**
 * bzip2: blocks of up to 900 kB, each a Burrows-Wheeler transform packed by move-to-front, run lengths and Huffman codes.
 * The well-kept libraries for it want Node's Buffer, which a browser's worker does not have; so it is unpacked here.
 */
export const BZIP2: Packing = {
  name: 'bzip2',
  is: (head) =>
    head[0] === 0x42 && head[1] === 0x5a && head[2] === 0x68 && head[3] >= 0x31 && head[3] <= 0x39,
  async *unpack(source, signal) {
    const { unpackBlock } = await import('./bzip2-block.ts');
    const bytes = new ByteReader(source, source.sizeBytes, signal);
    try {
      // Files packed by several cores are several streams one behind the other.
      while (BZIP2.is(await bytes.peek(4))) {
        const mostBytes = 100_000 * ((await bytes.take(4))[3] - 0x30);
        let bit = 0;
        for (;;) {
          const block = unpackBlock(await bytes.peek(MOST_BLOCK_BYTES), bit, mostBytes);
          if (block === null) throw new Garbled();
          if (block.content) yield* block.content;
          await bytes.skip(block.content ? Math.floor(block.endBit / 8) : Math.ceil(block.endBit / 8));
          if (!block.content) break;
          bit = block.endBit % 8;
        }
      }
    } finally {
      await bytes.close();
    }
  },
};
