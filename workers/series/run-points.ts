import { median, quantile } from '../math/robust.ts';
import { FLAG } from '../protocol/flags.ts';
import type { FrameReport } from '../protocol/report.ts';
import type { JudgeOptions, RunFrame, RunPlace, RunPoint } from '../protocol/run.ts';
import type { SeriesRecord } from '../protocol/series.ts';
import { altitudeDeg, sunAltitudeDeg, type Site } from '../rig/sky-clock.ts';
import { layAgain } from './laid-again.ts';
import type { Laid } from './register.ts';
import { compose, inverse, mapX, mapY, rotationRad } from './similarity.ts';
import { NearestStar, type StarPlaces } from './star-places.ts';

/** The frames of a run in order of time, each as a point of its timeline. */
export function runPoints(
  frames: readonly (readonly [key: string, frame: RunFrame])[],
  options: Pick<JudgeOptions, 'latitudeDeg' | 'longitudeDeg'>,
): RunPoint[] {
  const points = frames
    .map(([key, frame]) => ({ point: plainPoint(key, frame, options), record: frame.record }))
    .sort(
      (p, q) =>
        p.point.timeMs - q.point.timeMs || p.point.key.localeCompare(q.point.key, 'en', { numeric: true }),
    );
  const placed = points.filter(
    (each): each is typeof each & { record: SeriesRecord } => each.record !== null,
  );
  if (placed.length > 0) lay(placed);
  return points.map(({ point }) => point);
}

function plainPoint(
  key: string,
  { record, fault, sky, changedMs }: RunFrame,
  told: Pick<JudgeOptions, 'latitudeDeg' | 'longitudeDeg'>,
): RunPoint {
  const report: FrameReport | undefined = record?.report;
  const meta = record?.meta;
  const exposureS = report?.frame?.exposureS ?? meta?.exposureS ?? null;
  const start = meta?.startTime ? Date.parse(meta.startTime) : NaN;
  const timed = Number.isFinite(start);
  const timeMs = timed ? start + 500 * (exposureS ?? 0) : changedMs;
  const pointing = meta?.pointing ?? null;
  const site: Site | null = siteOf(
    told.latitudeDeg ?? pointing?.latitudeDeg ?? null,
    told.longitudeDeg ?? pointing?.longitudeDeg ?? null,
  );
  const shapes = report && !report.fault ? report.sensor : null;
  const [ra, dec] = [pointing?.rightAscensionDeg ?? null, pointing?.declinationDeg ?? null];
  return {
    key,
    timeMs,
    timeFrom: timed ? 'frame' : 'file',
    exposureS,
    fault: fault?.message ?? report?.fault?.message ?? null,
    fwhmPx: shapes?.fwhmPx ?? null,
    hfdPx: shapes?.hfdPx ?? null,
    elongation: shapes?.elongation ?? null,
    angleDeg: shapes?.angleDeg?.value ?? null,
    stars: report?.stars.measured ?? 0,
    skyAdu: sky?.levelAdu ?? null,
    noiseAdu: sky?.noiseAdu ?? null,
    brightness: null,
    halo: shapes?.fwhmPx && shapes.hfdPx ? shapes.hfdPx.value / shapes.fwhmPx.value : null,
    place: null,
    temperatureC: meta?.temperatureC ?? null,
    focusPosition: meta?.focusPosition ?? null,
    altitudeDeg: site && timed && ra !== null && dec !== null ? altitudeDeg(ra, dec, site, timeMs) : null,
    sunAltitudeDeg: site && timed ? sunAltitudeDeg(site, timeMs) : null,
    pierSide: pointing?.pierSide ?? null,
    verdict: report?.verdict
      ? {
          cause: report.verdict.cause,
          confidence: report.verdict.confidence,
          headline: report.verdict.headline,
        }
      : null,
  };
}

const siteOf = (latitudeDeg: number | null, longitudeDeg: number | null): Site | null =>
  latitudeDeg === null || longitudeDeg === null ? null : { latitudeDeg, longitudeDeg };

/** Stars that stand in two frames must meet within this, and so many of them say how clear the air was. */
const MEET_PX = 3;
const FEWEST_COMMON = 5;

/** Adds place and brightness, from the frames laid on one map of the field. */
function lay(frames: { point: RunPoint; record: SeriesRecord }[]): void {
  const { anchor, laid } = layAgain(frames.map(({ record }) => record));
  const first = laid.find((each) => each.ok);
  if (!first?.ok) return;
  const toFirst = inverse(first.fit.mapping);
  const map = frames[anchor].record;
  frames.forEach(({ point, record }, i) => {
    point.place = placeOf(laid[i], toFirst, record);
    point.brightness = lightOver(map, record, laid[i]);
  });
  // The clearest tenth is 1: a single frame may be lifted by chance.
  const clearest = quantile(
    frames.map(({ point }) => point.brightness ?? NaN),
    0.9,
  );
  for (const { point } of frames) if (point.brightness !== null) point.brightness /= clearest;
}

function placeOf(laid: Laid, toFirst: ReturnType<typeof inverse>, { report }: SeriesRecord): RunPlace | null {
  if (!laid.ok || !report.frame) return null;
  const moved = compose(laid.fit.mapping, toFirst);
  const flipped = Math.abs(rotationRad(moved)) > Math.PI / 2;
  return {
    // A mount that changed sides shows everything upside down: its path goes on in the first frame's axes.
    xPx: flipped ? -moved.dx : moved.dx,
    yPx: flipped ? -moved.dy : moved.dy,
    flipped,
    widthPx: report.frame.widthPx,
    heightPx: report.frame.heightPx,
  };
}

/** Median over the common stars of a frame's light a second over that of the map's first frame. */
function lightOver(map: SeriesRecord, record: SeriesRecord, laid: Laid): number | null {
  if (!laid.ok) return null;
  const nearest = new NearestStar(centred(record), MEET_PX);
  const from = centred(map);
  const ratios: number[] = [];
  for (let i = 0; i < from.x.length; i++) {
    const { mapping } = laid.fit;
    const j = nearest.at(mapX(mapping, from.x[i], from.y[i]), mapY(mapping, from.x[i], from.y[i]));
    const ratio = j < 0 ? NaN : record.stars.fluxAdu[j] / map.stars.fluxAdu[i];
    if (ratio > 0 && !saturated(map, i) && !saturated(record, j)) ratios.push(ratio);
  }
  if (ratios.length < FEWEST_COMMON) return null;
  const seconds = (each: SeriesRecord) => each.report.frame?.exposureS ?? each.meta.exposureS ?? 1;
  return (median(ratios) * seconds(map)) / seconds(record);
}

const saturated = ({ stars }: SeriesRecord, star: number): boolean =>
  (stars.flags[star] & FLAG.saturated) !== 0;

function centred({ stars, report }: SeriesRecord): StarPlaces {
  const { widthPx, heightPx } = report.frame ?? { widthPx: 1, heightPx: 1 };
  return {
    x: stars.xPx.map((x) => x - (widthPx - 1) / 2),
    y: stars.yPx.map((y) => y - (heightPx - 1) / 2),
    variance: new Float64Array(stars.count),
  };
}
