const PAGE_BYTES = 65536;
const ALIGN_BYTES = 16;

/** The kernels' memory cannot grow any more. */
export class OutOfMemory extends Error {
  override readonly name = 'OutOfMemory';
}

/**
 * Hands out pieces of the kernels' memory one behind the other. Nothing is freed singly: take a `mark`, allocate,
 * and `reset` to it. Memory grows when needed and never shrinks. A view is valid until the next `alloc`, which may
 * move the buffer; so ask for views late.
 */
export class Arena {
  private top: number;

  constructor(
    private readonly memory: WebAssembly.Memory,
    base: number,
  ) {
    this.top = align(base);
  }

  /** Address of `bytes` fresh bytes, aligned to 16, content undefined. Throws OutOfMemory when there is no more to be had. */
  alloc(bytes: number): number {
    const address = this.top;
    const end = align(address + bytes);
    const missing = end - this.memory.buffer.byteLength;
    if (missing > 0) this.grow(Math.ceil(missing / PAGE_BYTES));
    this.top = end;
    return address;
  }

  private grow(pages: number): void {
    try {
      this.memory.grow(pages);
    } catch (cause) {
      throw new OutOfMemory(`${pages} pages more are not to be had`, { cause });
    }
  }

  mark(): number {
    return this.top;
  }

  reset(mark: number): void {
    this.top = mark;
  }

  u8 = (address: number, length: number) => new Uint8Array(this.memory.buffer, address, length);
  u16 = (address: number, length: number) => new Uint16Array(this.memory.buffer, address, length);
  i32 = (address: number, length: number) => new Int32Array(this.memory.buffer, address, length);
  u32 = (address: number, length: number) => new Uint32Array(this.memory.buffer, address, length);
  f32 = (address: number, length: number) => new Float32Array(this.memory.buffer, address, length);
  f64 = (address: number, length: number) => new Float64Array(this.memory.buffer, address, length);
}

const align = (address: number) => Math.ceil(address / ALIGN_BYTES) * ALIGN_BYTES;
