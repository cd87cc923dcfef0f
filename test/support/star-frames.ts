import { bytesSource } from '../../workers/decode/sources.ts';
import type { ColourSummary, Measured } from '../../workers/protocol/api.ts';
import { flagNames, type StarFlagName } from '../../workers/protocol/flags.ts';
import type { StarTable } from '../../workers/protocol/stars.ts';
import { FrameSession } from '../../workers/session.ts';
import { writeFits16, type FitsCard } from '../../workers/simulate/fits.ts';
import { createRandom, type Random } from '../../workers/simulate/random.ts';
import { loadKernels } from '../../workers/wasm/kernels.ts';

export interface Place {
  xPx: number;
  yPx: number;
}

export interface Frame16 {
  pixels: Uint16Array;
  widthPx: number;
  heightPx: number;
}

/** Random places at least `apartPx` from each other and `marginPx` from the border; as many as fit, at most `count`. */
export function scatter(
  count: number,
  widthPx: number,
  heightPx: number,
  apartPx: number,
  marginPx: number,
  seed: number,
): Place[] {
  const random = createRandom(seed);
  const places: Place[] = [];
  const between = (size: number) => marginPx + random.uniform() * (size - 1 - 2 * marginPx);
  for (let tries = 0; tries < 200 * count && places.length < count; tries++) {
    const place = { xPx: between(widthPx), yPx: between(heightPx) };
    if (places.every((other) => distance(other, place) >= apartPx)) places.push(place);
  }
  return places;
}

export const distance = (a: Place, b: Place): number => Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx);

let session: Promise<FrameSession> | null = null;
/** The whole pipeline with its own kernels, one frame at a time. */
export const testSession = (): Promise<FrameSession> =>
  (session ??= loadKernels().then((k) => new FrameSession(k)));

/** Measures a frame as a FITS file with these header cards; throws when it is refused. */
export async function measureFrame(frame: Frame16, cards: FitsCard[] = []): Promise<Measured> {
  const bytes = writeFits16(frame.pixels, frame.widthPx, frame.heightPx, cards);
  const outcome = await (await testSession()).measure(bytesSource('test.fits', bytes), { rig: {} });
  if (!outcome.ok) throw new Error(`refused: ${outcome.fault.code}: ${outcome.fault.message}`);
  return outcome.value;
}

/** The colours of a frame measured so, each on its own pixels; null for a monochrome one. */
export async function measureColours(frame: Frame16, cards: FitsCard[] = []): Promise<ColourSummary | null> {
  const { handle } = await measureFrame(frame, cards);
  const outcome = (await testSession()).colours(handle);
  if (!outcome.ok) throw new Error(`refused: ${outcome.fault.code}: ${outcome.fault.message}`);
  return outcome.value;
}

/** One row of a star table. */
export interface Row extends Place {
  positionSigmaPx: number;
  fluxAdu: number;
  snr: number;
  fwhmPx: number;
  fwhmSigmaPx: number;
  hfdPx: number;
  hfdSigmaPx: number;
  e1: number;
  e2: number;
  eSigma: number;
  rmsPx: number;
  comet: [number, number];
  clover: [number, number];
  flags: StarFlagName[];
}

export const rowsOf = (stars: StarTable): Row[] =>
  Array.from({ length: stars.count }, (_, i) => ({
    xPx: stars.xPx[i],
    yPx: stars.yPx[i],
    positionSigmaPx: stars.positionSigmaPx[i],
    fluxAdu: stars.fluxAdu[i],
    snr: stars.snr[i],
    fwhmPx: stars.fwhmPx[i],
    fwhmSigmaPx: stars.fwhmSigmaPx[i],
    hfdPx: stars.hfdPx[i],
    hfdSigmaPx: stars.hfdSigmaPx[i],
    e1: stars.e1[i],
    e2: stars.e2[i],
    eSigma: stars.eSigma[i],
    rmsPx: stars.rmsPx[i],
    comet: [stars.cometX[i], stars.cometY[i]],
    clover: [stars.cloverX[i], stars.cloverY[i]],
    flags: flagNames(stars.flags[i]),
  }));

/** Each true star with the nearest measured one within `withinPx`, and what is left over on either side. */
export function pairUp<T extends Place, U extends Place>(truth: T[], found: U[], withinPx = 3) {
  const left = new Set(found);
  const pairs: { truth: T; found: U }[] = [];
  const missed: T[] = [];
  for (const star of truth) {
    let best: U | null = null;
    for (const row of left) if (!best || distance(row, star) < distance(best, star)) best = row;
    if (best && distance(best, star) <= withinPx) {
      left.delete(best);
      pairs.push({ truth: star, found: best });
    } else missed.push(star);
  }
  return { pairs, missed, extra: [...left] };
}

export const mean = (values: number[]): number => values.reduce((sum, v) => sum + v, 0) / values.length;
export const rms = (values: number[]): number => Math.sqrt(mean(values.map((v) => v * v)));

export function median(values: number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length / 2;
  return (sorted[Math.floor(half)] + sorted[Math.ceil(half) - 1]) / 2;
}

/** Standard deviation of a Gaussian with the same median absolute deviation. */
export function spread(values: number[]): number {
  const middle = median(values);
  return 1.4826 * median(values.map((v) => Math.abs(v - middle)));
}

/** Standard error of the median of Gaussian values: sqrt(pi / 2) that of the mean. */
export const medianError = (values: number[]): number => (1.2533 * spread(values)) / Math.sqrt(values.length);

export type { Random };
