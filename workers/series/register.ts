import { FLAG } from '../protocol/flags.ts';
import type { NotRegistered, SeriesRecord } from '../protocol/series.ts';
import { FieldMap } from './field-map.ts';
import { fitSimilarity, type SimilarityFit } from './fit-similarity.ts';
import { findPattern, holds, MEET_PX } from './pattern.ts';
import { IDENTITY, mapX, mapY, scaleOf, type Similarity } from './similarity.ts';
import { mutualPairs, NearestStar, type StarPlaces } from './star-places.ts';

/** A frame laid on the map of the field, or the reason why it could not be. */
export type Laid =
  { ok: true; fit: SimilarityFit; matched: number } | { ok: false; why: NotRegistered; sentence: string };

const FEWEST_STARS = 3;
/** What a place is uncertain by at least: the pixels' own unevenness, and a core that is cut off at the top. */
const LEAST_SIGMA_PX = 0.02;
const SATURATED_SIGMA_PX = 0.3;
/** A frame in which fewer stars meet than this share is looked at afresh, as if nothing were known. */
const MOST_SCALE_CHANGE = 0.02;
/** Frames that are tried as the beginning of the map when the first choice stands alone. */
const ANCHORS = 3;

/**
 * Lays all frames (in order of time) on one map of the field. The map starts with the frame richest in stars and grows
 * outwards from it in time, so that each frame is held against what its neighbours showed. `anchor` is that frame; the
 * mappings lead from the map to the frames, both from the sensor's centre.
 */
export function layFrames(records: readonly SeriesRecord[]): { anchor: number; laid: Laid[] } {
  const frames = records.map(placesOf);
  const byStars = frames
    .map((frame, index) => ({ index, stars: frame.x.length }))
    .sort((p, q) => q.stars - p.stars || p.index - q.index);
  let best: { anchor: number; laid: Laid[] } | null = null;
  const count = (laid: Laid[]) => laid.filter((each) => each.ok).length;
  for (let tries = 0; tries < ANCHORS; tries++) {
    const start = byStars.find(({ index }) => !best?.laid[index].ok);
    if (!start || start.stars < FEWEST_STARS) break;
    const laid = layFrom(start.index, records, frames);
    if (!best || count(laid) > count(best.laid)) best = { anchor: start.index, laid };
    if (2 * count(best.laid) >= records.length) break;
  }
  return best ?? { anchor: 0, laid: records.map((_, i) => tooFew(frames[i].x.length)) };
}

function layFrom(anchor: number, records: readonly SeriesRecord[], frames: StarPlaces[]): Laid[] {
  const map = new FieldMap();
  map.add(frames[anchor], records[anchor].stars.fluxAdu, IDENTITY, [], 0);
  const mappings: (Similarity | null)[] = records.map(() => null);
  mappings[anchor] = IDENTITY;
  const outwards = records
    .map((_, i) => i)
    .filter((i) => i !== anchor)
    .sort((p, q) => Math.abs(p - anchor) - Math.abs(q - anchor));
  for (const i of outwards) {
    if (!sameSize(records[i], records[anchor])) continue;
    const found = lay(map.places, frames[i], neighbour(mappings, i, anchor));
    if (!found) continue;
    mappings[i] = found.fit.mapping;
    map.add(frames[i], records[i].stars.fluxAdu, found.fit.mapping, found.pairs, found.fit.scatter);
  }
  // Once more with the whole map: the early frames were held against a few stars only.
  return records.map((record, i): Laid => {
    if (frames[i].x.length < FEWEST_STARS) return tooFew(frames[i].x.length, record);
    if (!sameSize(record, records[anchor])) return otherSize(record, records[anchor]);
    const found = lay(map.places, frames[i], mappings[i]);
    return found
      ? { ok: true, fit: found.fit, matched: found.pairs.length }
      : noPattern(map.places, frames[i]);
  });
}

/** Nearest frame towards the anchor that was laid. */
function neighbour(mappings: (Similarity | null)[], i: number, anchor: number): Similarity | null {
  const step = Math.sign(anchor - i);
  for (let j = i + step; j !== anchor; j += step) if (mappings[j]) return mappings[j];
  return mappings[anchor];
}

/** The mapping refined over all stars that meet; `guess` is tried before anything else. */
function lay(
  map: StarPlaces,
  frame: StarPlaces,
  guess: Similarity | null,
): { fit: SimilarityFit; pairs: [number, number][] } | null {
  if (frame.x.length < FEWEST_STARS) return null;
  let mapping = guess && holds(guess, map, frame) ? guess : findPattern(map, frame);
  if (!mapping || Math.abs(scaleOf(mapping) - 1) > MOST_SCALE_CHANGE) return null;
  const sky = new NearestStar(frame, MEET_PX);
  let withinPx = MEET_PX;
  let result: { fit: SimilarityFit; pairs: [number, number][] } | null = null;
  for (let round = 0; round < 4; round++) {
    const pairs = mutualPairs(map, mappedPlaces(map, mapping), sky, withinPx);
    const fit = fitSimilarity(map, frame, pairs, mapping.mirrored);
    if (!fit || pairs.length < FEWEST_STARS) return result;
    result = { fit, pairs };
    mapping = fit.mapping;
    withinPx = Math.min(MEET_PX, Math.max(1, 5 * Math.sqrt(fit.scatter)));
  }
  return result;
}

const mappedPlaces = (map: StarPlaces, mapping: Similarity) => ({
  x: map.x.map((x, i) => mapX(mapping, x, map.y[i])),
  y: map.x.map((x, i) => mapY(mapping, x, map.y[i])),
});

/** Places from the sensor's centre with honest variances; none of a frame with a fault. */
function placesOf({ stars, report }: SeriesRecord): StarPlaces {
  if (report.fault) return { x: new Float64Array(0), y: new Float64Array(0), variance: new Float64Array(0) };
  const { widthPx, heightPx } = report.frame ?? { widthPx: 1, heightPx: 1 };
  return {
    x: stars.xPx.map((x) => x - (widthPx - 1) / 2),
    y: stars.yPx.map((y) => y - (heightPx - 1) / 2),
    variance: Float64Array.from(stars.positionSigmaPx, (sigma, i) => {
      const own = Number.isFinite(sigma) ? sigma : SATURATED_SIGMA_PX;
      const cut = stars.flags[i] & FLAG.saturated ? SATURATED_SIGMA_PX : 0;
      return own ** 2 + LEAST_SIGMA_PX ** 2 + cut ** 2;
    }),
  };
}

const sameSize = (a: SeriesRecord, b: SeriesRecord): boolean =>
  a.report.frame?.widthPx === b.report.frame?.widthPx &&
  a.report.frame?.heightPx === b.report.frame?.heightPx;

function tooFew(stars: number, record?: SeriesRecord): Laid {
  const fault = record?.report.fault;
  const count = ['no star', 'one star', 'two stars'][stars] ?? `${stars} stars`;
  return {
    ok: false,
    why: 'no-stars',
    sentence:
      fault?.message ?? `Only ${count} could be placed; three are needed to lay the frame on the others.`,
  };
}

function otherSize({ report }: SeriesRecord, anchor: SeriesRecord): Laid {
  const size = ({ frame }: SeriesRecord['report']) =>
    frame ? `${frame.widthPx} x ${frame.heightPx} px` : 'of unknown size';
  return {
    ok: false,
    why: 'other-size',
    sentence: `The frame is ${size(report)}, the others ${size(anchor.report)}: take a run with one camera setting.`,
  };
}

function noPattern(map: StarPlaces, frame: StarPlaces): Laid {
  const free = findPattern(map, frame, true);
  if (free && Math.abs(scaleOf(free) - 1) > MOST_SCALE_CHANGE)
    return {
      ok: false,
      why: 'other-scale',
      sentence: `The same stars, but ${scaleOf(free).toFixed(2)} times as far apart: another binning or focal length.`,
    };
  return {
    ok: false,
    why: 'no-pattern',
    sentence:
      'Its stars match none of the other frames: another field, cloud, or stars smeared beyond recognition.',
  };
}
