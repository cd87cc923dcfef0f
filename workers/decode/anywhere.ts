import type { Source } from '../protocol/source.ts';
import { DecodeFault, isAbort } from './fault.ts';

/** Enough that many small questions about neighbouring bytes cost one reading. */
const WINDOW_BYTES = 1 << 20;

/** Bytes from any place of a file, for formats whose parts lie in no order. Holds one window of the file. */
export class Anywhere {
  private window: Uint8Array = new Uint8Array(0);
  private windowStart = 0;

  constructor(
    private readonly source: Source,
    private readonly signal?: AbortSignal,
  ) {}

  get sizeBytes(): number {
    return this.source.sizeBytes;
  }

  /** The bytes [from, from + count), fewer where the file ends; valid until the next question. */
  async bytes(from: number, count: number): Promise<Uint8Array> {
    if (!(from >= 0 && from < this.sizeBytes)) return new Uint8Array(0);
    const inWindow = from - this.windowStart;
    if (inWindow < 0 || inWindow + count > this.window.length) await this.open(from, count);
    return this.window.subarray(from - this.windowStart, from - this.windowStart + count);
  }

  private async open(from: number, count: number): Promise<void> {
    this.signal?.throwIfAborted();
    const to = Math.min(this.sizeBytes, from + Math.max(count, WINDOW_BYTES));
    try {
      this.window = await this.source.read(from, to, this.signal);
      this.windowStart = from;
    } catch (error) {
      if (isAbort(error) || error instanceof DecodeFault) throw error;
      throw new DecodeFault('cannot-read', error instanceof Error ? error.message : String(error));
    }
  }
}
