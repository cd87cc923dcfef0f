import type { Frame } from '../protocol/frame.ts';
import type { Doubt, FileContents, PictureChoice } from '../protocol/reading.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { Anywhere } from './anywhere.ts';
import type { ByteReader } from './bytes.ts';

/** What a format's reader is given. */
export interface DecodeInput {
  /** File name, for sentences only. */
  name: string;
  /** At the first byte of the file, for formats that are read from front to back. */
  bytes: ByteReader;
  /** The same file once more from its first byte; whoever asks closes it. */
  again(): ByteReader;
  /** The same file for formats whose parts lie in no order; a packed one is unpacked into memory for it. */
  anywhere(): Promise<Anywhere>;
  /** Length of the file as it lies on the disk, packed or not. */
  fileBytes: number;
  /** What somebody chose where the file holds several pictures. */
  choice: PictureChoice;
  kernels: Kernels;
  /** Told as the pixels come in. */
  onBytes(done: number, total: number): void;
}

/** A frame, and what else the file offers. */
export interface Decoded {
  frame: Frame;
  /** All pictures that may be chosen, where there are several; the chosen one among them. */
  contents: FileContents | null;
  /** Left out where there are none. */
  doubts?: Doubt[];
}

export interface FormatDecoder {
  /** Reads the frame into the kernels' memory. Throws a DecodeFault. What it allocates besides pixels it gives back. */
  decode(input: DecodeInput): Promise<Decoded>;
}

/** One per format; chosen by content, never by name; its code is loaded when the first such file comes. */
export interface Reader {
  name: string;
  /** Whether the file's first bytes (up to HEAD_BYTES) are this format's. */
  sniff(head: Uint8Array): boolean;
  load(): Promise<FormatDecoder>;
}

export const HEAD_BYTES = 512;
