import { rgb, type ScaleSequential } from 'd3';

/** Shades of a table of colours: bytes of red, green and blue in turn. */
export interface Shades {
  from: number;
  to: number;
  bytes: Uint8ClampedArray;
}

const STEPS = 512;

/** A scale as a table, so that thousands of pixels can be coloured at once. */
export function shadesOf(scale: ScaleSequential<string>): Shades {
  const [from, to] = scale.domain();
  const bytes = new Uint8ClampedArray(3 * STEPS);
  for (let i = 0; i < STEPS; i++) {
    const { r, g, b } = rgb(scale(from + ((to - from) * i) / (STEPS - 1)));
    bytes.set([r, g, b], 3 * i);
  }
  return { from, to, bytes };
}

/** Paints `side` x `side` values, row by row, one canvas pixel each; NaN is left empty. */
export function paintPixels(
  canvas: HTMLCanvasElement,
  values: ArrayLike<number>,
  side: number,
  { from, to, bytes }: Shades,
): void {
  const context = canvas.getContext('2d');
  if (!context) return;
  canvas.width = canvas.height = side;
  const image = context.createImageData(side, side);
  for (let i = 0; i < side * side; i++) {
    if (Number.isNaN(values[i])) continue;
    const t = Math.min(1, Math.max(0, (values[i] - from) / (to - from)));
    const at = 3 * Math.round(t * (STEPS - 1));
    image.data.set([bytes[at], bytes[at + 1], bytes[at + 2], 255], 4 * i);
  }
  context.putImageData(image, 0, 0);
}
