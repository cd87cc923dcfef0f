import type { Kernels } from '../../wasm/kernels.ts';
import type { ByteReader } from '../bytes.ts';
import { PixelMemory, peakOf, type Pixels } from '../pixels.ts';
import type { DecodeInput } from '../reader.ts';
import { pixelCount } from '../size.ts';
import type { Amplifier, AmplifierPlan } from './amplifiers.ts';
import { paddingBytes, readHdu, type Hdu } from './hdu.ts';
import { imageShape, pictureAxes, type ImageShape } from './shape.ts';

/** Reads one unit's pixels into the kernels' memory; plain or tile-compressed. */
export type ReadUnit = (
  bytes: ByteReader,
  hdu: Hdu,
  shape: ImageShape,
  warnings: string[],
) => Promise<Pixels>;

/**
 * The read-outs of one sensor as one frame: the pixels that saw light side by side, each part moved to the first one's
 * level of the overscan. Gains are left as they are.
 */
export async function joinAmplifiers(
  input: DecodeInput,
  plan: AmplifierPlan,
  readUnit: ReadUnit,
  warnings: string[],
): Promise<Pixels> {
  const { kernels, name } = input;
  const count = pixelCount(plan.widthPx, plan.heightPx, 1, name);
  const bytes = input.again();
  let joined: Joined | null = null;
  try {
    for (let index = 0; ; index++) {
      const hdu = await readHdu(bytes, index, name);
      if (!hdu) break;
      const end = bytes.position + hdu.dataBytes + paddingBytes(hdu.dataBytes);
      const amplifier = plan.amplifiers.find((each) => each.index === index);
      if (amplifier) {
        const shape = imageShape(pictureAxes(hdu))!;
        const first = joined === null;
        if (joined === null) {
          const kind = (hdu.header.number('ZBITPIX') ?? hdu.bitpix) in { 8: 1, 16: 1 } ? 'u16' : 'f32';
          joined = new Joined(kernels, kind, plan.widthPx, count);
        }
        const mark = kernels.arena.mark();
        const part = await readUnit(bytes, hdu, shape, first ? warnings : []);
        joined.paint(part, shape, amplifier);
        kernels.arena.reset(mark);
      }
      if (!(await bytes.skip(end - bytes.position))) break;
    }
  } finally {
    await bytes.close();
  }
  warnings.push(
    `The frame was put together from ${plan.amplifiers.length} read-outs of the sensor, their overscan trimmed. Each keeps its own gain, so the sky may step where they meet.`,
  );
  return joined!.pixels();
}

class Joined {
  private readonly memory: PixelMemory;
  private reference: Pixels | null = null;
  private firstLevel = NaN;

  constructor(
    private readonly kernels: Kernels,
    private readonly kind: 'u16' | 'f32',
    private readonly widthPx: number,
    count: number,
  ) {
    this.memory = new PixelMemory(kernels, kind, count);
    this.memory.reserve(count);
  }

  paint(part: Pixels, shape: ImageShape, { from, to, overscan }: Amplifier): void {
    const source = this.kernels.arena[part.kind](part.address, part.count);
    const target = this.kernels.arena[this.kind](this.memory.address, this.memory.count);
    const level = overscan ? overscanLevel(source, shape, overscan) : NaN;
    if (this.reference === null) this.firstLevel = level;
    this.reference ??= part;
    const shift = Number.isFinite(level - this.firstLevel) ? level - this.firstLevel : 0;
    const most = this.kind === 'u16' ? 65535 : Infinity;
    for (let y = 0; y < from.heightPx; y++) {
      const row = (from.yPx + y) * shape.widthPx + from.xPx;
      let at = (to.yPx + y * to.stepY) * this.widthPx + to.xPx;
      for (let x = 0; x < from.widthPx; x++, at += to.stepX) {
        const value = source[row + x] - shift;
        target[at] = this.kind === 'u16' ? Math.max(0, Math.min(most, value)) : value;
      }
    }
  }

  pixels(): Pixels {
    const { kind, address, count } = this.memory;
    const { scale, zero, ceiling } = this.reference!;
    return { kind, address, count, scale, zero, ceiling, peak: peakOf(this.kernels, kind, address, count) };
  }
}

/** Whole median of the overscan, as stored. */
function overscanLevel(
  pixels: Uint16Array | Float32Array,
  shape: ImageShape,
  { x, y }: NonNullable<Amplifier['overscan']>,
): number {
  const values: number[] = [];
  const [left, right] = [Math.min(...x) - 1, Math.min(Math.max(...x), shape.widthPx)];
  const [top, bottom] = [Math.min(...y) - 1, Math.min(Math.max(...y), shape.heightPx)];
  for (let row = top; row < bottom; row++)
    for (let column = left; column < right; column++) values.push(pixels[row * shape.widthPx + column]);
  values.sort((a, b) => a - b);
  return Math.round(values[values.length >> 1] ?? NaN);
}
