import type { Numbers, Picture } from '../picture.ts';
import type { Header } from './chunks.ts';
import type { Pass } from './passes.ts';

/** Numbers of one pixel by colour type: grey, -, RGB, palette, grey and alpha, -, RGB and alpha. */
export const SAMPLES = [1, 0, 3, 1, 2, 0, 4];

/** Turns filtered lines (a byte that names the filter, then the packed numbers) into painted pixels. */
export class RowReader {
  private above: Uint8Array = new Uint8Array(0);
  private pass: Pass | null = null;

  constructor(
    private readonly header: Header,
    private readonly palette: Uint8Array | null,
    private readonly picture: Picture,
  ) {}

  /** A buffer for the next line of a pass. */
  lineFor(pass: Pass): Uint8Array {
    const { bits, colourType } = this.header;
    return new Uint8Array(1 + Math.ceil((pass.widthPx * SAMPLES[colourType] * bits) / 8));
  }

  /** Takes row `y` of a pass; false when its filter does not exist or a colour is not in the palette. */
  take(line: Uint8Array, pass: Pass, y: number): boolean {
    if (pass !== this.pass) {
      this.pass = pass;
      this.above = new Uint8Array(line.length - 1);
    }
    const { bits, colourType } = this.header;
    const bytes = line.subarray(1);
    const pixelBytes = Math.max(1, (SAMPLES[colourType] * bits) >> 3);
    if (!unfilter(line[0], bytes, this.above, pixelBytes)) return false;
    this.above = bytes;
    const numbers = numbersIn(bytes, bits, pass.widthPx * SAMPLES[colourType]);
    return colourType === 3
      ? this.paintPalette(numbers, pass, y)
      : this.paint(numbers, SAMPLES[colourType], pass, y);
  }

  private paint(numbers: Numbers, step: number, pass: Pass, y: number): true {
    const row = pass.yPx + y * pass.stepY;
    for (let plane = 0; plane < this.picture.shape.planes; plane++)
      this.picture.paint(plane, pass.xPx, row, numbers, plane, step, pass.widthPx, pass.stepX);
    return true;
  }

  private paintPalette(indices: Numbers, pass: Pass, y: number): boolean {
    const palette = this.palette ?? new Uint8Array(0);
    const colours = new Uint8Array(3 * pass.widthPx);
    for (let i = 0; i < pass.widthPx; i++) {
      const at = 3 * indices[i];
      if (at + 2 >= palette.length) return false;
      colours.set(palette.subarray(at, at + 3), 3 * i);
    }
    return this.paint(colours, 3, pass, y);
  }
}

/** ISO/IEC 15948, 9.2: undoes a line's filter in place, modulo 256. */
function unfilter(filter: number, line: Uint8Array, above: Uint8Array, pixelBytes: number): boolean {
  const n = line.length;
  switch (filter) {
    case 0:
      return true;
    case 1:
      for (let i = pixelBytes; i < n; i++) line[i] += line[i - pixelBytes];
      return true;
    case 2:
      for (let i = 0; i < n; i++) line[i] += above[i];
      return true;
    case 3:
      for (let i = 0; i < n; i++) line[i] += ((i < pixelBytes ? 0 : line[i - pixelBytes]) + above[i]) >> 1;
      return true;
    case 4:
      for (let i = 0; i < n; i++) {
        const left = i < pixelBytes ? 0 : line[i - pixelBytes];
        const corner = i < pixelBytes ? 0 : above[i - pixelBytes];
        line[i] += nearest(left, above[i], corner);
      }
      return true;
    default:
      return false;
  }
}

/** Paeth's predictor: whichever of the three neighbours is nearest to left + above - corner. */
function nearest(left: number, above: number, corner: number): number {
  const byLeft = Math.abs(above - corner);
  const byAbove = Math.abs(left - corner);
  const byCorner = Math.abs(left + above - 2 * corner);
  if (byLeft <= byAbove && byLeft <= byCorner) return left;
  return byAbove <= byCorner ? above : corner;
}

function numbersIn(bytes: Uint8Array, bits: number, count: number): Uint8Array | Uint16Array {
  if (bits === 8) return bytes;
  if (bits === 16) {
    const words = new Uint16Array(count);
    for (let i = 0; i < count; i++) words[i] = (bytes[2 * i] << 8) | bytes[2 * i + 1];
    return words;
  }
  const numbers = new Uint8Array(count);
  const perByte = 8 / bits;
  for (let i = 0; i < count; i++)
    numbers[i] = (bytes[Math.floor(i / perByte)] >> (8 - bits * ((i % perByte) + 1))) & (2 ** bits - 1);
  return numbers;
}
