/**
 * Plain versions of the kernels that turn a file's big-endian numbers into pixels, through DataView, one by one.
 * The kernels must agree with them bit for bit.
 */
type Read = (view: DataView, at: number) => number;

const pixels = <T extends Uint16Array | Float32Array>(
  bytes: Uint8Array,
  storedBytes: number,
  target: T,
  read: Read,
): T => {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  for (let i = 0; i < target.length; i++) target[i] = read(view, i * storedBytes);
  return target;
};
const u16 = (bytes: Uint8Array, storedBytes: number, read: Read) =>
  pixels(bytes, storedBytes, new Uint16Array(bytes.length / storedBytes), read);
const f32 = (bytes: Uint8Array, storedBytes: number, read: Read) =>
  pixels(bytes, storedBytes, new Float32Array(bytes.length / storedBytes), (view, at) =>
    finite(read(view, at)),
  );

const finite = (value: number) => (Number.isFinite(Math.fround(value)) ? value : NaN);

export const decodeU8 = (bytes: Uint8Array) => u16(bytes, 1, (view, at) => view.getUint8(at));
export const decodeI16 = (bytes: Uint8Array) => u16(bytes, 2, (view, at) => view.getInt16(at) + 32768);

export const decodeI32 = (bytes: Uint8Array, scale: number, zero: number, blank: number | null) =>
  f32(bytes, 4, (view, at) => {
    const stored = view.getInt32(at);
    return stored === blank ? NaN : zero + scale * stored;
  });

export const decodeI64 = (
  bytes: Uint8Array,
  scale: number,
  zero: number,
  unsigned: boolean,
  blank: bigint | null,
) =>
  f32(bytes, 8, (view, at) => {
    const stored = view.getBigInt64(at);
    if (stored === blank) return NaN;
    return zero + scale * Number(unsigned ? stored + 2n ** 63n : stored);
  });

export const decodeF32 = (bytes: Uint8Array) => f32(bytes, 4, (view, at) => view.getFloat32(at));
export const decodeF32Scaled = (bytes: Uint8Array, scale: number, zero: number) =>
  f32(bytes, 4, (view, at) => zero + scale * view.getFloat32(at));
export const decodeF64 = (bytes: Uint8Array, scale: number, zero: number) =>
  f32(bytes, 8, (view, at) => zero + scale * view.getFloat64(at));

export const widenU16 = (values: Uint16Array, offset: number, scale: number, zero: number, blank: number) =>
  Float32Array.from(values, (value) => (value === blank ? NaN : finite(zero + scale * (value - offset))));

export function maximum(values: ArrayLike<number>): number {
  let largest = -Infinity;
  for (let i = 0; i < values.length; i++) if (values[i] > largest) largest = values[i];
  return largest;
}

export function countWithin(values: ArrayLike<number>, low: number, high: number): number {
  let count = 0;
  for (let i = 0; i < values.length; i++) if (values[i] >= low && values[i] <= high) count++;
  return count;
}
