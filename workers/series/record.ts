import { FLAG } from '../protocol/flags.ts';
import { NOTHING_KNOWN, type FrameMeta } from '../protocol/frame.ts';
import type { FrameReport } from '../protocol/report.ts';
import { SERIES_STARS, type RecordStars, type SeriesRecord } from '../protocol/series.ts';
import type { StarTable } from '../protocol/stars.ts';

/** What is no star, or whose place is that of something else. */
const NOT_A_PLACE = FLAG.streak | FLAG.sharp | FLAG.extended | FLAG.unfitted;

/** What a run keeps of one frame: its report without the list, and its brightest stars. */
export function recordOf(report: FrameReport, stars: StarTable, meta: FrameMeta): SeriesRecord {
  const kept = { ...report };
  delete kept.list;
  return { format: 1, report: kept, meta, stars: bestStars(stars) };
}

/** The record of a file that could not be read: it counts among the frames of the run, and says why it is not used. */
export function recordOfFault(report: FrameReport): SeriesRecord {
  const none = new Float32Array(0);
  const stars: RecordStars = {
    count: 0,
    xPx: new Float64Array(0),
    yPx: new Float64Array(0),
    positionSigmaPx: none,
    fluxAdu: none,
    snr: none,
    fwhmPx: none,
    hfdPx: none,
    hfdSigmaPx: none,
    e1: none,
    e2: none,
    eSigma: none,
    rmsPx: none,
    flags: new Uint32Array(0),
  };
  return { format: 1, report, meta: { ...NOTHING_KNOWN, format: '' }, stars };
}

/** The brightest stars that have a place; the table is in order of brightness already. */
function bestStars(stars: StarTable): RecordStars {
  const chosen: number[] = [];
  for (let i = 0; i < stars.count && chosen.length < SERIES_STARS; i++)
    if (!(stars.flags[i] & NOT_A_PLACE) && Number.isFinite(stars.xPx[i] + stars.yPx[i])) chosen.push(i);
  const f32 = (column: ArrayLike<number>) => Float32Array.from(chosen, (i) => column[i]);
  const f64 = (column: ArrayLike<number>) => Float64Array.from(chosen, (i) => column[i]);
  return {
    count: chosen.length,
    xPx: f64(stars.xPx),
    yPx: f64(stars.yPx),
    positionSigmaPx: f32(stars.positionSigmaPx),
    fluxAdu: f32(stars.fluxAdu),
    snr: f32(stars.snr),
    fwhmPx: f32(stars.fwhmPx),
    hfdPx: f32(stars.hfdPx),
    hfdSigmaPx: f32(stars.hfdSigmaPx),
    e1: f32(stars.e1),
    e2: f32(stars.e2),
    eSigma: f32(stars.eSigma),
    rmsPx: f32(stars.rmsPx),
    flags: Uint32Array.from(chosen, (i) => stars.flags[i]),
  };
}
