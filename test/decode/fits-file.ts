import { bytesSource } from '../../workers/decode/sources.ts';
import { decodeFrame } from '../../workers/decode/index.ts';
import type { Decoded } from '../../workers/decode/reader.ts';
import type { Frame } from '../../workers/protocol/frame.ts';
import type { PictureChoice } from '../../workers/protocol/reading.ts';
import { loadKernels, type Kernels } from '../../workers/wasm/kernels.ts';

/** A FITS header from its cards, each up to 80 characters; END and padding are added. */
export function header(cards: string[]): Uint8Array {
  const text = [...cards, 'END'].map((card) => card.padEnd(80).slice(0, 80)).join('');
  return Uint8Array.from(text.padEnd(Math.ceil(text.length / 2880) * 2880), (letter) => letter.charCodeAt(0));
}

/** "KEYWORD =                value" in fixed format (FITS Standard 4.0, 4.2); strings are quoted here. */
export function card(keyword: string, value: number | boolean | string, comment = ''): string {
  const text =
    typeof value === 'string'
      ? `'${value.padEnd(8)}'`
      : (value === true ? 'T' : value === false ? 'F' : `${value}`).padStart(20);
  return `${keyword.padEnd(8)}= ${text}${comment ? ` / ${comment}` : ''}`;
}

/** The mandatory cards of a primary image. */
export const imageCards = (bitpix: number, axes: number[]): string[] => [
  card('SIMPLE', true),
  card('BITPIX', bitpix),
  card('NAXIS', axes.length),
  ...axes.map((length, i) => card(`NAXIS${i + 1}`, length)),
];

export const extensionCards = (kind: string, bitpix: number, axes: number[]): string[] => [
  card('XTENSION', kind),
  ...imageCards(bitpix, axes).slice(1),
  card('PCOUNT', 0),
  card('GCOUNT', 1),
];

export function joined(...parts: Uint8Array[]): Uint8Array {
  const all = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    all.set(part, at);
    at += part.length;
  }
  return all;
}

export const padded = (data: Uint8Array): Uint8Array =>
  joined(data, new Uint8Array((2880 - (data.length % 2880)) % 2880));

/** 16-bit pixels as FITS stores them with BZERO = 32768. */
export function wordsOf(values: ArrayLike<number>): Uint8Array {
  const bytes = new Uint8Array(values.length * 2);
  const view = new DataView(bytes.buffer);
  for (let i = 0; i < values.length; i++) view.setInt16(2 * i, values[i] - 32768);
  return bytes;
}

/** A whole file with one unsigned 16-bit image and further cards. */
export const u16File = (widthPx: number, heightPx: number, values: ArrayLike<number>, cards: string[] = []) =>
  joined(
    header([...imageCards(16, [widthPx, heightPx]), card('BZERO', 32768), card('BSCALE', 1), ...cards]),
    padded(wordsOf(values)),
  );

let shared: Promise<Kernels> | null = null;
export const testKernels = (): Promise<Kernels> => (shared ??= loadKernels());

/** Decodes bytes; the frame's pixels stay valid until the next call. */
export async function decodeBytes(bytes: Uint8Array, name = 'test.fits', choice: PictureChoice = {}) {
  const kernels = await testKernels();
  const mark = kernels.arena.mark();
  const outcome = await decodeFrame(bytesSource(name, bytes), kernels, undefined, undefined, choice);
  kernels.arena.reset(mark);
  return outcome;
}

/** Physical values of a decoded frame, as float32. */
export function physical(kernels: Kernels, frame: Frame): Float32Array {
  const count = frame.widthPx * frame.heightPx * frame.planes;
  const stored = kernels.arena[frame.pixels.kind](frame.pixels.address, count);
  return Float32Array.from(stored, (value) => frame.zero + frame.scale * value);
}

/** The frame that must come out. */
export async function decodedFrom(
  bytes: Uint8Array,
  name?: string,
  choice?: PictureChoice,
): Promise<Decoded> {
  const outcome = await decodeBytes(bytes, name, choice);
  if (!outcome.ok) throw new Error(`refused: ${outcome.fault.code}: ${outcome.fault.message}`);
  return outcome.value;
}

export const frameOf = async (bytes: Uint8Array): Promise<Frame> => (await decodedFrom(bytes)).frame;

/** Where two arrays differ by bits, any NaN being like any other; at most ten places, for the message. */
export function differences(got: Float32Array, want: Float32Array): string[] {
  const places: string[] = [];
  for (let i = 0; i < want.length && places.length < 10; i++)
    if (!(got[i] === want[i] || (Number.isNaN(got[i]) && Number.isNaN(want[i]))))
      places.push(`[${i}] ${got[i]} is not ${want[i]}`);
  return places;
}
