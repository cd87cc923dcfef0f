import { median, quantile } from '../math/robust.ts';
import { FLAG } from '../protocol/flags.ts';
import type { MeasuredStar } from './star.ts';

/** A star is compared with so many of its nearest, because the width may double from centre to corner. */
const JURY = 12;
const MIN_JURY = 3;
/** Nothing that came through the optics is narrower than the pixel it was averaged over. */
const NARROWEST_PX = 0.8;
/** Narrower across than this share of what even its narrow neighbours are: a cosmic ray, a hot cluster. */
const SHARP_SHARE = 0.72;
/** Wider than this: a galaxy, a nebula's knot, two stars. */
const EXTENDED_RATIO = 1.7;
/** More elongated than its neighbours by this much (in |e| difference): a satellite, a bled column. */
const STREAK_EXCESS = 0.45;
/** Both wider and longer than its neighbours: two stars that run into one. */
const PAIR_RATIO = 1.2;
const PAIR_EXCESS = 0.12;
const FAINT_SNR = 8;

/**
 * Compares every star with its nearest neighbours and sets the flags sharp, extended, streak, faint and blended.
 * Widths are compared by logarithm; a difference must also exceed four of its own standard errors. Twice, so that what
 * was found out first no longer sits among the jurors.
 */
export function judgeShapes(stars: MeasuredStar[]): void {
  for (let round = 0; round < 2; round++) judgeOnce(stars);
}

const NO_JUROR = FLAG.saturated | FLAG.edge | FLAG.blended | FLAG.extended | FLAG.streak | FLAG.sharp;

function judgeOnce(stars: MeasuredStar[]): void {
  const jurors = stars.filter(
    (star) =>
      star.snr > 12 && !(minorFwhmPx(star) < NARROWEST_PX) && !(star.flags & NO_JUROR) && sizeOf(star) > 0,
  );
  const bench = new Bench(jurors);
  for (const star of stars) {
    if (star.snr < FAINT_SNR) star.flags |= FLAG.faint;
    if (minorFwhmPx(star) < NARROWEST_PX) star.flags |= FLAG.sharp;
    const jury = bench.nearest(star);
    if (jury.length < MIN_JURY || star.flags & FLAG.saturated) continue;
    const usual = median(jury.map((other) => Math.log(sizeOf(other))));
    // The scatter on the narrow side: merged pairs and galaxies among the neighbours only widen the other.
    const scatter =
      usual -
      quantile(
        jury.map((other) => Math.log(sizeOf(other))),
        0.16,
      );
    const excess = Math.log(sizeOf(star)) - usual;
    const error = Math.hypot(scatter, star.fwhmSigmaPx / star.fwhmPx || 0);
    // The lower quartile: where most neighbours are merged pairs, a lone star is not to blame for being narrower.
    const narrow = Math.log(minorFwhmPx(star) / quantile(jury.map(minorFwhmPx), 0.25));
    if (narrow < Math.log(SHARP_SHARE) && narrow < -3 * error) star.flags |= FLAG.sharp;
    if (excess > Math.log(EXTENDED_RATIO) && excess > 4 * error) star.flags |= FLAG.extended;
    const e1 = star.e1 - median(jury.map((other) => other.e1));
    const e2 = star.e2 - median(jury.map((other) => other.e2));
    if (
      excess > Math.log(PAIR_RATIO) &&
      excess > 4 * error &&
      Math.hypot(e1, e2) > PAIR_EXCESS + 4 * star.eSigma
    )
      star.flags |= FLAG.blended;
    if (Math.hypot(e1, e2) > STREAK_EXCESS + 4 * star.eSigma && excess > Math.log(1.2))
      star.flags |= FLAG.streak;
  }
}

/** Width across the long axis: the share of the mean width is sqrt(B/A), B²/A² = (1 - |e|) / (1 + |e|). */
function minorFwhmPx({ fwhmPx, e1, e2 }: MeasuredStar): number {
  const e = Math.hypot(e1, e2);
  return fwhmPx * ((1 - e) / (1 + e)) ** 0.25;
}

const sizeOf = (star: MeasuredStar) => (star.flags & FLAG.ring ? star.hfdPx : star.fwhmPx);

/** Finds the nearest jurors of a star without asking all of them: a square cell holds about a jury. */
class Bench {
  private readonly cells = new Map<string, MeasuredStar[]>();
  private readonly cellPx: number;

  constructor(private readonly jurors: MeasuredStar[]) {
    const extent = (pick: (star: MeasuredStar) => number) => {
      const values = jurors.map(pick);
      return values.reduce((a, b) => Math.max(a, b), 0) - values.reduce((a, b) => Math.min(a, b), Infinity);
    };
    const area = extent((star) => star.xPx) * extent((star) => star.yPx);
    this.cellPx = Math.max(1, Math.sqrt((area * JURY) / Math.max(jurors.length, 1)) || 1);
    for (const juror of jurors) {
      const key = this.key(this.place(juror.xPx), this.place(juror.yPx));
      const cell = this.cells.get(key);
      if (cell) cell.push(juror);
      else this.cells.set(key, [juror]);
    }
  }

  nearest(star: MeasuredStar): MeasuredStar[] {
    const [col, row] = [this.place(star.xPx), this.place(star.yPx)];
    const close: MeasuredStar[] = [];
    for (let j = row - 1; j <= row + 1; j++)
      for (let i = col - 1; i <= col + 1; i++) close.push(...(this.cells.get(this.key(i, j)) ?? []));
    // In an empty neighbourhood all are asked.
    return nearestOf(close.length > 2 * JURY ? close : this.jurors, star);
  }

  private place = (px: number) => Math.floor(px / this.cellPx);
  private key = (col: number, row: number) => `${col},${row}`;
}

function nearestOf(jurors: MeasuredStar[], star: MeasuredStar): MeasuredStar[] {
  const best: { distance: number; juror: MeasuredStar }[] = [];
  for (const juror of jurors) {
    if (juror === star) continue;
    const distance = (juror.xPx - star.xPx) ** 2 + (juror.yPx - star.yPx) ** 2;
    if (best.length === JURY && distance >= best[JURY - 1].distance) continue;
    let place = best.length < JURY ? best.length : JURY - 1;
    for (; place > 0 && best[place - 1].distance > distance; place--) best[place] = best[place - 1];
    best[place] = { distance, juror };
  }
  return best.map((entry) => entry.juror);
}

/** A plateau counts within this share of the frame's highest peak: full wells are all about equally deep. */
const WELL_SHARE = 0.85;
const CLEAR_PEAK_SNR = 60;
/** Stars this far below the highest cannot be clipped and show how flat tops are here. */
const SOUND_SHARE = 0.6;

/**
 * Flags stars clipped by full wells below the converter's limit, which no single pixel value betrays: flat tops, all at
 * about the height of the frame's highest, and flatter than the frame's fainter stars (a disc out of focus is flat too).
 */
export function judgePlateaus(stars: MeasuredStar[]): void {
  const highest = stars.reduce((most, star) => Math.max(most, star.peak), 0);
  const sound = stars.filter((star) => star.snr > CLEAR_PEAK_SNR && star.peak < SOUND_SHARE * highest);
  const usual =
    sound.length < MIN_JURY ? 1 : median(sound.map(({ plateau }) => (plateau.pixels - 1) / plateau.expected));
  for (const star of stars) {
    const { pixels, expected } = star.plateau;
    if (star.flags & FLAG.ring || star.snr < CLEAR_PEAK_SNR || star.peak < WELL_SHARE * highest) continue;
    if (pixels > 3 + 2 * Math.max(usual, 1) * expected) star.flags |= FLAG.saturated;
  }
}
