import type { Frame } from '../protocol/frame.ts';
import type { Kernels } from '../wasm/kernels.ts';
import type { ByteReader } from './bytes.ts';

/** What a format's reader is given. */
export interface DecodeInput {
  /** File name, for sentences only. */
  name: string;
  /** At the first byte of the file. */
  bytes: ByteReader;
  kernels: Kernels;
  /** Told as the pixels come in. */
  onBytes(done: number, total: number): void;
}

export interface FormatDecoder {
  /** Reads the frame into the kernels' memory. Throws a DecodeFault. What it allocates besides pixels it gives back. */
  decode(input: DecodeInput): Promise<Frame>;
}

/** One per format; chosen by content, never by name; its code is loaded when the first such file comes. */
export interface Reader {
  name: string;
  /** Whether the file's first bytes (up to HEAD_BYTES) are this format's. */
  sniff(head: Uint8Array): boolean;
  load(): Promise<FormatDecoder>;
}

export const HEAD_BYTES = 512;
