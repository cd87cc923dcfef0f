import type { Header } from './chunks.ts';

/** One pass over the picture: which pixels it fills. */
export interface Pass {
  xPx: number;
  yPx: number;
  stepX: number;
  stepY: number;
  widthPx: number;
  heightPx: number;
}

/** First pixel and steps of the seven passes of an interlaced picture (ISO/IEC 15948, 8.2, Adam7). */
const INTERLACED = [
  [0, 0, 8, 8],
  [4, 0, 8, 8],
  [0, 4, 4, 8],
  [2, 0, 4, 4],
  [0, 2, 2, 4],
  [1, 0, 2, 2],
  [0, 1, 1, 2],
];

export function passesOf({ widthPx, heightPx, interlaced }: Header): Pass[] {
  return (interlaced ? INTERLACED : [[0, 0, 1, 1]])
    .map(([xPx, yPx, stepX, stepY]) => ({
      xPx,
      yPx,
      stepX,
      stepY,
      widthPx: Math.ceil((widthPx - xPx) / stepX),
      heightPx: Math.ceil((heightPx - yPx) / stepY),
    }))
    .filter((pass) => pass.widthPx > 0 && pass.heightPx > 0);
}
