import { median } from '../math/robust.ts';
import { FLAG } from '../protocol/flags.ts';
import { Bench, JURY } from './jury.ts';
import { CLEAR_PEAK_SNR, type MeasuredStar } from './star.ts';

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

const NO_JUROR = FLAG.saturated | FLAG.edge | FLAG.blended | FLAG.extended | FLAG.streak | FLAG.sharp;
const isJuror = (star: MeasuredStar) =>
  star.snr > 12 && !(minorFwhmPx(star) < NARROWEST_PX) && !(star.flags & NO_JUROR) && sizeOf(star) > 0;

/**
 * Compares every star with its nearest neighbours and sets the flags sharp, extended, streak, faint and blended.
 * Widths are compared by logarithm; a difference must also exceed four of its own standard errors. Those with a juror
 * that was itself found out are judged again without it.
 */
export function judgeShapes(stars: MeasuredStar[]): void {
  const jurors = stars.filter(isJuror);
  const juries = judgeBy(stars, jurors);
  const unmasked = jurors.map((juror) => !isJuror(juror));
  if (!unmasked.includes(true)) return;
  const again = stars.filter((_, i) =>
    juries.subarray(i * JURY, (i + 1) * JURY).some((juror) => juror >= 0 && unmasked[juror]),
  );
  judgeBy(again, jurors.filter(isJuror));
}

/** Judges stars by the nearest of these jurors; returns which those were, JURY places a star, -1 where there are fewer. */
function judgeBy(stars: MeasuredStar[], jurors: MeasuredStar[]): Int32Array {
  const juries = new Int32Array(stars.length * JURY).fill(-1);
  const bench = new Bench(jurors);
  const logSizes = Float64Array.from(jurors, (juror) => Math.log(sizeOf(juror)));
  const minors = Float64Array.from(jurors, minorFwhmPx);
  const e1s = Float64Array.from(jurors, (juror) => juror.e1);
  const e2s = Float64Array.from(jurors, (juror) => juror.e2);
  const sorted = new Float64Array(JURY);
  for (let index = 0; index < stars.length; index++) {
    const star = stars[index];
    if (star.snr < FAINT_SNR) star.flags |= FLAG.faint;
    const minorPx = minorFwhmPx(star);
    if (minorPx < NARROWEST_PX) star.flags |= FLAG.sharp;
    const count = bench.nearest(star);
    for (let n = 0; n < count; n++) juries[index * JURY + n] = bench.jury[n];
    if (count < MIN_JURY || star.flags & FLAG.saturated) continue;
    const share = (column: Float64Array, part: number) =>
      quantileOf(sorted, sortMembers(column, bench.jury, count, sorted), part);
    const known = sortMembers(logSizes, bench.jury, count, sorted);
    const usual = quantileOf(sorted, known, 0.5);
    // The scatter on the narrow side: merged pairs and galaxies among the neighbours only widen the other.
    const scatter = usual - quantileOf(sorted, known, 0.16);
    const excess = Math.log(sizeOf(star)) - usual;
    const error = Math.sqrt(scatter ** 2 + (star.fwhmSigmaPx / star.fwhmPx || 0) ** 2);
    // The lower quartile: where most neighbours are merged pairs, a lone star is not to blame for being narrower.
    const narrow = Math.log(minorPx / share(minors, 0.25));
    if (narrow < Math.log(SHARP_SHARE) && narrow < -3 * error) star.flags |= FLAG.sharp;
    if (excess > Math.log(EXTENDED_RATIO) && excess > 4 * error) star.flags |= FLAG.extended;
    if (!(excess > Math.log(PAIR_RATIO))) continue;
    const longer = Math.hypot(star.e1 - share(e1s, 0.5), star.e2 - share(e2s, 0.5));
    if (excess > 4 * error && longer > PAIR_EXCESS + 4 * star.eSigma) star.flags |= FLAG.blended;
    if (longer > STREAK_EXCESS + 4 * star.eSigma) star.flags |= FLAG.streak;
  }
  return juries;
}

/** Sorts the `members` of a column that have a value into `sorted`; returns how many. */
function sortMembers(column: Float64Array, members: Int32Array, count: number, sorted: Float64Array): number {
  let filled = 0;
  for (let n = 0; n < count; n++) {
    const value = column[members[n]];
    if (Number.isNaN(value)) continue;
    let place = filled++;
    for (; place > 0 && sorted[place - 1] > value; place--) sorted[place] = sorted[place - 1];
    sorted[place] = value;
  }
  return filled;
}

/** Quantile of the first `count` sorted values, linear between order statistics; NaN for none. */
function quantileOf(sorted: Float64Array, count: number, part: number): number {
  if (count === 0) return NaN;
  const at = part * (count - 1);
  const below = Math.floor(at);
  const above = Math.min(below + 1, count - 1);
  return sorted[below] + (at - below) * (sorted[above] - sorted[below]);
}

/** Width across the long axis: the share of the mean width is sqrt(B/A), B²/A² = (1 - |e|) / (1 + |e|). */
function minorFwhmPx({ fwhmPx, e1, e2 }: MeasuredStar): number {
  const e = Math.sqrt(e1 * e1 + e2 * e2);
  return fwhmPx * Math.sqrt(Math.sqrt((1 - e) / (1 + e)));
}

const sizeOf = (star: MeasuredStar) => (star.flags & FLAG.ring ? star.hfdPx : star.fwhmPx);

/** A plateau counts within this share of the frame's highest peak: full wells are all about equally deep. */
const WELL_SHARE = 0.85;
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
