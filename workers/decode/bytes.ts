import { DecodeFault, isAbort } from './fault.ts';

/** Where a ByteReader gets its pieces from: a Source, or what is unpacked from one. */
export interface ByteOrigin {
  stream(signal?: AbortSignal, from?: number): AsyncIterable<Uint8Array>;
}

const NOTHING = new Uint8Array(0);
/** A gap longer than this is jumped over by opening the file anew behind it. */
const SEEK_BYTES = 4 << 20;
/** What `take` believes of a count before the bytes have come. */
const TAKE_BYTES = 64 << 10;

/**
 * Reads a file once, from front to back: a few bytes at a time for headers, in large pieces for pixels. Keeps no
 * more than one piece. Where the bytes cannot be had it throws a DecodeFault with the source's own sentence.
 */
export class ByteReader {
  /** Bytes passed so far. */
  position = 0;
  private pieces: AsyncIterator<Uint8Array> | null = null;
  private piece: Uint8Array = NOTHING;
  private ended = false;

  /**
   * @param sizeBytes length of the whole, or null when it is not known before the end (unpacked while read);
   *   only a file of known length can be jumped about in.
   */
  constructor(
    private readonly origin: ByteOrigin,
    readonly sizeBytes: number | null,
    private readonly signal?: AbortSignal,
  ) {}

  /** The next `count` bytes without passing them; fewer at the end. */
  async peek(count: number): Promise<Uint8Array> {
    while (this.piece.length < count) {
      const held = this.piece.slice();
      this.piece = NOTHING;
      const more = await this.more();
      this.piece = held.length === 0 ? this.piece : concat(held, this.piece);
      if (!more) break;
    }
    return this.piece.subarray(0, count);
  }

  /** A copy of the next `count` bytes; fewer at the end. Takes no more memory than twice what really comes. */
  async take(count: number): Promise<Uint8Array> {
    let taken = new Uint8Array(Math.min(count, TAKE_BYTES));
    let filled = 0;
    await this.pump(count, (piece) => {
      const needed = filled + piece.length;
      if (needed > taken.length) {
        const larger = new Uint8Array(Math.min(count, Math.max(needed, 2 * taken.length)));
        larger.set(taken.subarray(0, filled));
        taken = larger;
      }
      taken.set(piece, filled);
      filled = needed;
    });
    return taken.subarray(0, filled);
  }

  /** Gives the next `count` bytes to `sink`, piece by piece; a piece is valid during the call. Returns how many came. */
  async pump(count: number, sink: (piece: Uint8Array) => void): Promise<number> {
    let left = count;
    while (left > 0 && (this.piece.length > 0 || (await this.more()))) {
      const part = this.piece.subarray(0, left);
      sink(part);
      this.pass(part.length);
      left -= part.length;
    }
    return count - left;
  }

  /** Passes `count` bytes. Returns false when the file ends before. */
  async skip(count: number): Promise<boolean> {
    if (this.sizeBytes === null || count < this.piece.length + SEEK_BYTES)
      return (await this.pump(count, () => {})) === count;
    await this.close();
    this.ended = false;
    this.position = Math.min(this.position + count, this.sizeBytes);
    return this.position < this.sizeBytes;
  }

  /** Lets go of the file. Reading on is possible only where the length is known. */
  async close(): Promise<void> {
    this.piece = NOTHING;
    const pieces = this.pieces;
    this.pieces = null;
    this.ended = true;
    await pieces?.return?.();
  }

  private pass(count: number): void {
    this.piece = this.piece.subarray(count);
    this.position += count;
  }

  /** Fetches the next piece that is not empty; false at the end. */
  private async more(): Promise<boolean> {
    while (!this.ended) {
      this.signal?.throwIfAborted();
      try {
        this.pieces ??= this.origin.stream(this.signal, this.position)[Symbol.asyncIterator]();
        const next = await this.pieces.next();
        if (next.done) this.ended = true;
        else if (next.value.length > 0) {
          this.piece = next.value;
          return true;
        }
      } catch (error) {
        this.ended = true;
        if (isAbort(error) || error instanceof DecodeFault) throw error;
        throw new DecodeFault('cannot-read', error instanceof Error ? error.message : String(error));
      }
    }
    return false;
  }
}

function concat(a: Uint8Array, b: Uint8Array): Uint8Array {
  const both = new Uint8Array(a.length + b.length);
  both.set(a);
  both.set(b, a.length);
  return both;
}
