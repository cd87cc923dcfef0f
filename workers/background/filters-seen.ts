import type { Frame, Mosaic } from '../protocol/frame.ts';
import type { Arena } from '../wasm/arena.ts';
import { greenDiagonal, greensOf, mosaicFromLight } from './green-diagonal.ts';

/**
 * The frame with the colour filters that its sky shows where the file tells of none; where the file's greens are not
 * those of the sky the file is kept and the conflict told.
 */
export function withFiltersSeen(frame: Frame, arena: Arena): Frame {
  const seen = greenDiagonal(frame, arena);
  if (!seen) return frame;
  const warned = (mosaic: Mosaic | null, sentence: string): Frame => ({
    ...frame,
    mosaic,
    warnings: [...frame.warnings, sentence],
  });
  if (!frame.mosaic) {
    const mosaic = mosaicFromLight(seen);
    return warned(
      mosaic,
      `The file tells of no colour filters, but its pixels alternate in brightness as behind a colour mosaic: it is measured on its green pixels as ${mosaic.pattern.join('')}. Red and blue may be exchanged; tell the filters if you know them.`,
    );
  }
  if (greensOf(frame.mosaic) === seen.diagonal) return frame;
  const other = mosaicFromLight(seen);
  return warned(
    frame.mosaic,
    `The file says ${frame.mosaic.pattern.join('')}, but in the light of the sky the two green pixels of each square lie on the other diagonal, as in ${other.pattern.join('')}: if stars look spotted or long, tell these filters instead.`,
  );
}
