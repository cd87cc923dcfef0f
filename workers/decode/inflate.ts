/** What an unpacker throws where its input makes no sense; where the input came from speaks the sentence. */
export class Garbled extends Error {
  constructor() {
    super('the packed bytes make no sense');
    this.name = 'Garbled';
  }
}

/**
 * Deflated pieces unpacked as they come, by the platform's own decoder (gzip: RFC 1952; deflate: zlib, RFC 1950). An
 * error of the pieces themselves is passed on as it is; anything that does not unpack is thrown as Garbled.
 */
export async function* inflate(
  pieces: AsyncIterable<Uint8Array>,
  format: 'gzip' | 'deflate',
): AsyncGenerator<Uint8Array> {
  const packed = pieces[Symbol.asyncIterator]();
  let failed: { error: unknown } | null = null;
  const readable = new ReadableStream<Uint8Array>(
    {
      async pull(controller) {
        try {
          const { done, value } = await packed.next();
          if (done) controller.close();
          else controller.enqueue(value.slice()); // the source may fill the same buffer again
        } catch (error) {
          failed = { error };
          controller.error(error);
        }
      },
      async cancel() {
        await packed.return?.();
      },
    },
    { highWaterMark: 1 },
  );
  const unpacked = readable.pipeThrough(
    new DecompressionStream(format) as unknown as ReadableWritablePair<Uint8Array, Uint8Array>,
  );
  const reader = unpacked.getReader();
  try {
    for (;;) {
      const { done, value } = await nextOf(reader, () => failed);
      if (done) return;
      yield value;
    }
  } finally {
    await reader.cancel().catch(() => {});
  }
}

async function nextOf(
  reader: ReadableStreamDefaultReader<Uint8Array>,
  failed: () => { error: unknown } | null,
) {
  try {
    return await reader.read();
  } catch {
    const why = failed();
    throw why ? why.error : new Garbled();
  }
}

/**
 * Unpacks into `target` until it is full or the input ends, and returns how many bytes came; 0 to all of them, whatever
 * comes behind. Damage before that ends the output early.
 */
export async function inflateInto(
  packed: Uint8Array,
  target: Uint8Array,
  format: 'gzip' | 'deflate',
): Promise<number> {
  let filled = 0;
  try {
    for await (const piece of inflate(onePiece(packed), format)) {
      const part = piece.subarray(0, target.length - filled);
      target.set(part, filled);
      filled += part.length;
      if (filled === target.length) break;
    }
  } catch (error) {
    if (!(error instanceof Garbled)) throw error;
  }
  return filled;
}

/** Bytes that are all there as a stream. */
export async function* onePiece(bytes: Uint8Array): AsyncGenerator<Uint8Array> {
  yield bytes;
}
