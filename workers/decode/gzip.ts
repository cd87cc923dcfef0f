import { inflate } from './inflate.ts';
import type { Packing } from './packing.ts';

/** RFC 1952: two magic bytes and the only method in use, deflate. Unpacked by the platform's own decoder. */
export const GZIP: Packing = {
  name: 'gzip',
  is: (head) => head[0] === 0x1f && head[1] === 0x8b && head[2] === 8,
  unpack: (source, signal) => inflate(source.stream(signal), 'gzip'),
};
