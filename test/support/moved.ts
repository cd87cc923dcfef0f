import type { Frame16 } from './star-frames.ts';

/** What is done to the pixels of a frame: the one that lands at (x, y) comes from `from`, its number through `value`. */
export interface Move {
  size: [number, number];
  from: (x: number, y: number) => [number, number];
  value?: (v: number) => number;
}

export function moved(
  { pixels, widthPx: stridePx }: Frame16,
  { size: [widthPx, heightPx], from, value = (v) => v }: Move,
): Frame16 {
  const to = Uint16Array.from({ length: widthPx * heightPx }, (_, i) => {
    const x = i % widthPx;
    const [sx, sy] = from(x, (i - x) / widthPx);
    return value(pixels[sy * stridePx + sx]);
  });
  return { pixels: to, widthPx, heightPx };
}
