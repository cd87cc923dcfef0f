import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Reference } from '../reference.ts';
import { bootstrapError, median, spread } from '../statistics.ts';
import type { Case, PrecisionFrame } from './frame.ts';
import type { Pair } from './rows.ts';

/** One value per star of a frame, null where there is none. */
export interface OtherStars {
  sep: Record<'x' | 'y' | 'hfd' | 'e1', (number | null)[]>;
  photutils: Record<'x' | 'y', (number | null)[]>;
}

/** Our robust scatter over theirs, same stars, with the bootstrap error. */
export interface SideBySide {
  what: string;
  ratio: number;
  error: number;
}

const FEWEST_STARS = 30;

/** A frame through sep and photutils. */
export function askOthers(
  reference: Reference,
  folder: string,
  frame: PrecisionFrame,
  { fwhmPx }: Case,
): Promise<OtherStars> {
  const file = join(folder, 'frame.raw');
  writeFileSync(file, new Uint8Array(frame.pixels.buffer));
  return reference.ask<OtherStars>({
    file,
    width: frame.widthPx,
    height: frame.heightPx,
    gain: frame.gainElectronsPerAdu,
    half: Math.ceil(1.5 * fwhmPx) + 3,
    xs: frame.stars.map(({ xPx }) => xPx),
    ys: frame.stars.map(({ yPx }) => yPx),
  });
}

/** Positions about the truth, widths and shapes relative to their own median; `others` has one entry a frame. */
export function besideOthers(wish: Case, pairs: Pair[], others: OtherStars[]): SideBySide[] {
  const side = (
    what: string,
    theirs: (pair: Pair) => number | null,
    ours: (pair: Pair) => number,
    relative = false,
  ): SideBySide => {
    const both = pairs.flatMap((pair) => {
      const other = theirs(pair);
      const own = ours(pair);
      return other === null || !Number.isFinite(own) ? [] : [{ own, other }];
    });
    if (both.length < FEWEST_STARS) return { what, ratio: NaN, error: NaN };
    const scatter = (values: number[]) => spread(values) / (relative ? median(values) : 1);
    const ratio = (sample: typeof both) =>
      scatter(sample.map(({ own }) => own)) / scatter(sample.map(({ other }) => other));
    return { what, ratio: ratio(both), error: bootstrapError(both, ratio) };
  };
  const off = (of: 'sep' | 'photutils') => (pair: Pair) => {
    const x = others[pair.frame][of].x[pair.index];
    return x === null ? null : x - pair.truth.xPx;
  };
  const sep = (name: 'hfd' | 'e1') => (pair: Pair) => others[pair.frame].sep[name][pair.index];
  const ownX = ({ star, truth }: Pair) => star.xPx - truth.xPx;
  return [
    side('x/win', off('sep'), ownX),
    side('x/2dg', off('photutils'), ownX),
    side('hfd/sep', sep('hfd'), ({ star }) => star.hfdPx, true),
    // An isophote's moments make stars rounder than they are: the two compare only relative to the mean.
    ...(wish.axisRatio === 1 ? [] : [side('e1/sep', sep('e1'), ({ star }) => star.e1, true)]),
  ];
}
