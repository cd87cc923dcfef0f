import { beforeAll, describe, expect, test } from 'vitest';
import { loadKernels, type Kernels } from '../../workers/wasm/kernels.ts';
import * as oracle from '../oracle/decode.ts';

let kernels: Kernels;
beforeAll(async () => {
  kernels = await loadKernels();
});

/** Lengths that leave every possible rest behind the SIMD loops, nothing at all included. */
const COUNTS = [0, 1, 3, 4, 5, 7, 8, 15, 16, 17, 31, 100, 1003];

/** Bytes that hold every kind of number: NaN, infinities, extremes, denormals and what chance gives. */
function someBytes(length: number): Uint8Array {
  let state = 12345;
  const bytes = Uint8Array.from({ length }, () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state >>> 24;
  });
  const special = [0x7f, 0x80, 0, 0, 0, 0, 0, 0, 0xff, 0x80, 0, 0, 0, 0, 0, 0, 0x80, 0, 0, 0, 0, 0, 0, 0];
  special.push(0x7f, 0xf0, 0, 0, 0, 0, 0, 0, 0x7f, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff);
  bytes.set(special.slice(0, length));
  return bytes;
}

/** Runs a kernel over `bytes` with room for `count` pixels and four guard bytes that it must not touch. */
function run<T extends Uint16Array | Float32Array>(
  bytes: Uint8Array,
  make: (address: number, count: number) => T,
  count: number,
  kernel: (source: number, target: number) => void,
): T {
  const { arena } = kernels;
  const mark = arena.mark();
  const source = arena.alloc(bytes.length);
  const sizeBytes = make(arena.alloc(0), 0).BYTES_PER_ELEMENT * count;
  const target = arena.alloc(sizeBytes + 4);
  arena.u8(source, bytes.length).set(bytes);
  arena.u8(target + sizeBytes, 4).fill(0xa5);
  kernel(source, target);
  expect([...arena.u8(target + sizeBytes, 4)]).toEqual([0xa5, 0xa5, 0xa5, 0xa5]);
  const result = make(target, count).slice() as T;
  arena.reset(mark);
  return result;
}

describe.each(COUNTS)('%i numbers are decoded as the plain version does it', (count) => {
  const u16 = (bytes: Uint8Array, kernel: (source: number, target: number) => void) =>
    run(bytes, kernels.arena.u16, count, kernel);
  const f32 = (bytes: Uint8Array, kernel: (source: number, target: number) => void) =>
    run(bytes, kernels.arena.f32, count, kernel);

  test('8 and 16 bit', () => {
    const bytes8 = someBytes(count);
    expect(u16(bytes8, (s, t) => kernels.run.decodeU8(s, t, count))).toEqual(oracle.decodeU8(bytes8));
    const bytes16 = someBytes(2 * count);
    expect(u16(bytes16, (s, t) => kernels.run.decodeI16(s, t, count))).toEqual(oracle.decodeI16(bytes16));
  });

  test('32 and 64 bit whole numbers, with scale and blank', () => {
    const bytes32 = someBytes(4 * count);
    const blank = count > 0 ? new DataView(bytes32.buffer).getInt32(4 * (count - 1)) : 0;
    for (const given of [blank, null])
      expect(
        f32(bytes32, (s, t) =>
          kernels.run.decodeI32(s, t, count, 0.1, -7, given === null ? 0 : 1, given ?? 0),
        ),
      ).toEqual(oracle.decodeI32(bytes32, 0.1, -7, given));
    const bytes64 = someBytes(8 * count);
    const blank64 = count > 0 ? new DataView(bytes64.buffer).getBigInt64(8 * (count - 1)) : 0n;
    for (const unsigned of [0, 1])
      for (const given of [blank64, null])
        expect(
          f32(bytes64, (s, t) =>
            kernels.run.decodeI64(s, t, count, 3, 11, unsigned, given === null ? 0 : 1, given ?? 0n),
          ),
        ).toEqual(oracle.decodeI64(bytes64, 3, 11, unsigned === 1, given));
  });

  test('floats', () => {
    const bytes32 = someBytes(4 * count);
    expect(f32(bytes32, (s, t) => kernels.run.decodeF32(s, t, count))).toEqual(oracle.decodeF32(bytes32));
    expect(f32(bytes32, (s, t) => kernels.run.decodeF32Scaled(s, t, count, 2.5, -1))).toEqual(
      oracle.decodeF32Scaled(bytes32, 2.5, -1),
    );
    const bytes64 = someBytes(8 * count);
    expect(f32(bytes64, (s, t) => kernels.run.decodeF64(s, t, count, 2.5, -1))).toEqual(
      oracle.decodeF64(bytes64, 2.5, -1),
    );
  });

  test('16 bit widened to floats in place', () => {
    const values = oracle.decodeI16(someBytes(2 * count));
    const blank = values[count >> 1] ?? -1;
    const { arena } = kernels;
    const mark = arena.mark();
    const address = arena.alloc(4 * count);
    arena.u16(address, count).set(values);
    kernels.run.widenU16(address, count, 32768, 0.25, 3, blank);
    expect(arena.f32(address, count).slice()).toEqual(oracle.widenU16(values, 32768, 0.25, 3, blank));
    arena.reset(mark);
  });

  test('maximum and counts', () => {
    const { arena, run: kernel } = kernels;
    const mark = arena.mark();
    const address = arena.alloc(4 * count);
    const whole = oracle.decodeI16(someBytes(2 * count));
    arena.u16(address, count).set(whole);
    expect(kernel.maxU16(address, count)).toBe(Math.max(0, oracle.maximum(whole)));
    expect(kernel.countU16(address, count, 20000, 50000)).toBe(oracle.countWithin(whole, 20000, 50000));
    const floats = oracle.decodeF32(someBytes(4 * count));
    arena.f32(address, count).set(floats);
    expect(kernel.maxF32(address, count) + 0).toBe(oracle.maximum(floats) + 0); // 0 and -0 are one maximum
    expect(kernel.countF32(address, count, -1e10, 1e10)).toBe(oracle.countWithin(floats, -1e10, 1e10));
    arena.reset(mark);
  });
});
