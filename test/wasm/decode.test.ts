import { expect, test } from 'vitest';
import { loadKernels } from '../../workers/wasm/kernels.ts';

test('big-endian signed 16 bit becomes unsigned 16 bit in the same order', async () => {
  const { run, arena } = await loadKernels();
  const values = Array.from({ length: 21 }, (_, i) => -32768 + i * 3276);
  const address = arena.alloc(values.length * 2);
  const view = new DataView(run.memory.buffer, address, values.length * 2);
  values.forEach((value, i) => view.setInt16(2 * i, value, false));
  run.decodeI16(address, address, values.length);
  expect([...arena.u16(address, values.length)]).toEqual(values.map((value) => value + 32768));
});
