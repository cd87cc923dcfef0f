// Changes of bytes that suit any format.
import fc from 'fast-check';

export const place = fc.nat();
const edit = fc.record({ place, byte: fc.integer({ min: 0, max: 255 }) });
export const edits = (most: number) => fc.array(edit, { minLength: 1, maxLength: most });
export type Edits = { place: number; byte: number }[];

/** Bytes put over others, at places modulo the length. */
export function overwritten(bytes: Uint8Array, changes: Edits): Uint8Array {
  const mutant = bytes.slice();
  for (const { place, byte } of changes) mutant[place % mutant.length] = byte;
  return mutant;
}

/** Whole numbers that readers stumble over: nothing, one, signs, the ends of each width, prime counts, and any. */
export const nastyNumber = fc.oneof(
  fc.constantFrom(
    0,
    1,
    2,
    3,
    4,
    7,
    8,
    9,
    12,
    16,
    17,
    31,
    32,
    33,
    64,
    127,
    128,
    255,
    256,
    1000,
    4096,
    9000,
    32767,
    32768,
    65535,
    65536,
    0x7fffff,
    0x7fffffff,
    0x80000000,
    0xfffffffe,
    0xffffffff,
  ),
  fc.nat(),
);

/** What is done to a list of parts (chunks, segments, blocks), of any number at a time. */
const shuffle = fc.record({
  kind: fc.constantFrom('cut', 'drop', 'double', 'swap'),
  from: place,
  to: place,
});
export const shuffles = fc.array(shuffle, { minLength: 1, maxLength: 4 });
export type Shuffles = { kind: string; from: number; to: number }[];

/** Parts left out, repeated, exchanged, or all behind one dropped. */
export function shuffled<T>(parts: readonly T[], operations: Shuffles): T[] {
  let list = [...parts];
  for (const { kind, from, to } of operations) {
    if (list.length === 0) break;
    const [a, b] = [from % list.length, to % list.length];
    if (kind === 'cut') list = list.slice(0, a + 1);
    else if (kind === 'drop') list.splice(a, 1);
    else if (kind === 'double') list.splice(a, 0, list[b]);
    else [list[a], list[b]] = [list[b], list[a]];
  }
  return list;
}

/** A file in pieces of `unit` bytes, the last one shorter. */
export const inUnits = (bytes: Uint8Array, unit: number): Uint8Array[] =>
  Array.from({ length: Math.ceil(bytes.length / unit) }, (_, i) => bytes.subarray(i * unit, (i + 1) * unit));

export const whole = (parts: readonly Uint8Array[]): Uint8Array => new Uint8Array(Buffer.concat(parts));
