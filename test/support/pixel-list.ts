import type { Kernels } from '../../workers/wasm/kernels.ts';
import type { Node } from '../oracle/profile.ts';
import type { Sample } from '../oracle/stamp.ts';

/** A list of pixels in the kernels' memory: eleven arrays of `capacity` f32, padded to a multiple of four by weight zero. */
export interface PixelList {
  address: number;
  capacity: number;
  count: number;
}

export function listOf({ arena }: Kernels, samples: Sample[]): PixelList {
  const count = (samples.length + 3) & ~3;
  const capacity = count + 8;
  const address = arena.alloc(capacity * 4 * 11);
  const column = (n: number) => arena.f32(address + n * capacity * 4, capacity);
  for (let n = 0; n < 11; n++) column(n).fill(n < 4 ? 0 : NaN);
  samples.forEach(({ dx, dy, value }, i) => {
    column(0)[i] = dx;
    column(1)[i] = dy;
    column(2)[i] = value;
    column(3)[i] = 1;
  });
  return { address, capacity, count };
}

export const columnOf = ({ arena }: Kernels, list: PixelList, index: number): Float32Array =>
  arena.f32(list.address + index * list.capacity * 4, list.count).slice();

/** Nodes inside a pixel as the kernels take them: x, y, weight, f32 each. */
export function nodesOf({ arena }: Kernels, nodes: Node[]): number {
  const address = arena.alloc(nodes.length * 12);
  arena.f32(address, nodes.length * 3).set(nodes.flatMap(({ x, y, weight }) => [x, y, weight]));
  return address;
}
