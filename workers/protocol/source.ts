/**
 * Where bytes come from: a File in the page, a file handle in Node, a buffer in tests.
 * Nothing else in `workers/` knows. Both calls reject with an Error whose message is fit for a person when the
 * bytes cannot be had, and with an AbortError when `signal` fires.
 */
export interface Source {
  readonly name: string;
  readonly sizeBytes: number;
  /** Bytes [from, to); shorter when the file ends before `to`. */
  read(from: number, to: number, signal?: AbortSignal): Promise<Uint8Array>;
  /** The file from byte `from` (0) to its end in pieces of any size. A piece is valid until the next is asked for. */
  stream(signal?: AbortSignal, from?: number): AsyncIterable<Uint8Array>;
}
