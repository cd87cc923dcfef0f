import type { FrameMeta, Pointing } from '../../workers/protocol/frame.ts';
import type { SeriesRecord } from '../../workers/protocol/series.ts';
import { recordOf } from '../../workers/series/record.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { reportOf } from '../src/reports.ts';
import { starTableOf } from '../src/star-tables.ts';

// Runs of frames as lists of stars with known motion: what a measurement would give, without the pixels. The motion is
// averaged over each exposure by a sum over moments, so that nothing here knows the formulas that are tested.

export interface Run {
  frames: number;
  cadenceS: number;
  exposureS: number;
  widthPx: number;
  heightPx: number;
  /** Stars within the first frame; the field goes on beyond it. */
  stars: number;
  /** Motion of the field, px from the first moment on, at t seconds. */
  motion: (t: number) => [number, number];
  /** Turn of the field about the sensor's centre, degrees at t seconds. */
  turnDeg: (t: number) => number;
  mirrored: (frame: number) => boolean;
  /** Turned by 180 degrees from this frame on: the change of the pier side. */
  flipAt: number;
  /** Shift from frame to frame that no exposure shows: the air, px rms. */
  jitterPx: number;
  /** Position error of a star of middling brightness, px. */
  positionSigmaPx: number;
  /** Share of stars missing in a frame, and false ones added. */
  missing: number;
  extra: number;
  /** Second moment of a star that stands still, px². */
  roundPx2: number;
  /** Distortion (e1, e2) of the optics. */
  optics: [number, number];
  pointing: Partial<Pointing> | null;
  focalLengthMm: number | null;
  pixelSizeUm: number | null;
  startTime: string;
  seed: number;
}

const PLAIN: Run = {
  frames: 24,
  cadenceS: 32,
  exposureS: 30,
  widthPx: 1936,
  heightPx: 1096,
  stars: 40,
  motion: () => [0, 0],
  turnDeg: () => 0,
  mirrored: () => false,
  flipAt: Infinity,
  jitterPx: 0.05,
  positionSigmaPx: 0.06,
  missing: 0.1,
  extra: 3,
  roundPx2: 1.6,
  optics: [0, 0],
  pointing: null,
  focalLengthMm: null,
  pixelSizeUm: null,
  startTime: '2026-10-17T20:00:00.000Z',
  seed: 1,
};

export interface TrueFrame {
  /** Mean over the exposure. */
  xPx: number;
  yPx: number;
  turnDeg: number;
}

export function makeRun(changes: Partial<Run>): { records: SeriesRecord[]; truth: TrueFrame[]; run: Run } {
  const run = { ...PLAIN, ...changes };
  const random = createRandom(run.seed);
  const reach = 1.6;
  const sky = Array.from({ length: Math.round(run.stars * reach ** 2) }, () => ({
    x: (random.uniform() - 0.5) * run.widthPx * reach,
    y: (random.uniform() - 0.5) * run.heightPx * reach,
    // Three magnitudes deeper, four times as many stars: roughly the counts of the Milky Way's fields.
    flux: 2000 / (0.001 + random.uniform()) ** 0.8,
  }));
  const truth: TrueFrame[] = [];
  const records = Array.from({ length: run.frames }, (_, frame) => {
    const start = frame * run.cadenceS;
    const mean = meanMotion(run, start);
    truth.push({ xPx: mean.x, yPx: mean.y, turnDeg: run.turnDeg(start + run.exposureS / 2) });
    return recordFor(run, frame, start, mean, sky, random);
  });
  return { records, truth, run };
}

const MOMENTS = 400;
/** Mean and second moments of the motion within an exposure. */
function meanMotion({ motion, exposureS }: Run, start: number) {
  const points = Array.from({ length: MOMENTS }, (_, i) => motion(start + (exposureS * (i + 0.5)) / MOMENTS));
  const mean = (pick: (p: [number, number]) => number) =>
    points.reduce((sum, p) => sum + pick(p), 0) / MOMENTS;
  const x = mean((p) => p[0]);
  const y = mean((p) => p[1]);
  return {
    x,
    y,
    xx: mean((p) => (p[0] - x) ** 2),
    yy: mean((p) => (p[1] - y) ** 2),
    xy: mean((p) => (p[0] - x) * (p[1] - y)),
  };
}

function recordFor(
  run: Run,
  frame: number,
  start: number,
  mean: ReturnType<typeof meanMotion>,
  sky: { x: number; y: number; flux: number }[],
  random: ReturnType<typeof createRandom>,
): SeriesRecord {
  const turn = (run.turnDeg(start + run.exposureS / 2) * Math.PI) / 180;
  const [jx, jy] = [random.normal() * run.jitterPx, random.normal() * run.jitterPx];
  const flip = frame >= run.flipAt ? -1 : 1;
  const mirror = run.mirrored(frame) ? -1 : 1;
  const rows: { x: number; y: number; flux: number; sigma: number }[] = [];
  for (const star of sky) {
    const x = Math.cos(turn) * star.x - Math.sin(turn) * star.y + mean.x + jx;
    const y = Math.sin(turn) * star.x + Math.cos(turn) * star.y + mean.y + jy;
    const sigma = run.positionSigmaPx * Math.min(2, Math.max(0.3, Math.sqrt(10_000 / star.flux)));
    const seen = {
      x: (run.widthPx - 1) / 2 + flip * mirror * x + sigma * random.normal(),
      y: (run.heightPx - 1) / 2 + flip * y + sigma * random.normal(),
      flux: star.flux * (1 + 0.1 * random.normal()),
      sigma,
    };
    const inside = seen.x > 2 && seen.y > 2 && seen.x < run.widthPx - 3 && seen.y < run.heightPx - 3;
    if (inside && random.uniform() >= run.missing) rows.push(seen);
  }
  for (let i = 0; i < run.extra; i++)
    rows.push({
      x: random.uniform() * run.widthPx,
      y: random.uniform() * run.heightPx,
      flux: 2000 + 20_000 * random.uniform(),
      sigma: run.positionSigmaPx,
    });
  rows.sort((p, q) => q.flux - p.flux);
  const trace = 2 * run.roundPx2 + mean.xx + mean.yy;
  const e1 = (mean.xx - mean.yy + run.optics[0] * 2 * run.roundPx2) / trace;
  const e2 = (2 * mean.xy + run.optics[1] * 2 * run.roundPx2) / trace;
  const rms = Math.sqrt(Math.sqrt(1 - e1 ** 2 - e2 ** 2) * (trace / 2));
  const table = starTableOf(rows.length, (stars, i) => {
    const row = rows[i];
    stars.xPx[i] = row.x;
    stars.yPx[i] = row.y;
    stars.positionSigmaPx[i] = row.sigma;
    stars.fluxAdu[i] = row.flux;
    stars.snr[i] = row.flux / 100;
    stars.e1[i] = e1 + 0.02 * random.normal();
    stars.e2[i] = e2 * mirror + 0.02 * random.normal();
    stars.eSigma[i] = 0.02;
    stars.fwhmPx[i] = 2.3548 * rms * (1 + 0.02 * random.normal());
    stars.fwhmSigmaPx[i] = 2.3548 * rms * 0.02;
    stars.rmsPx[i] = rms;
  });
  const report = reportOf(() => null);
  report.file = `frame-${String(frame).padStart(3, '0')}.fits`;
  report.frame = {
    widthPx: run.widthPx,
    heightPx: run.heightPx,
    mosaic: null,
    exposureS: run.exposureS,
    pixelSizeUm: run.pixelSizeUm,
    focalLengthMm: run.focalLengthMm,
    apertureMm: null,
    obstruction: null,
    arcsecPerPx:
      run.pixelSizeUm && run.focalLengthMm ? (206.264806 * run.pixelSizeUm) / run.focalLengthMm : null,
  };
  return recordOf(report, table, metaOf(run, start));
}

const metaOf = (run: Run, start: number): FrameMeta => ({
  format: 'FITS',
  exposureS: run.exposureS,
  startTime: new Date(Date.parse(run.startTime) + 1000 * start).toISOString(),
  pixelSizeUm: run.pixelSizeUm,
  focalLengthMm: run.focalLengthMm,
  apertureMm: null,
  obstruction: null,
  gainElectronsPerAdu: 1,
  focusPosition: null,
  temperatureC: null,
  imageType: 'Light',
  pointing: run.pointing
    ? {
        rightAscensionDeg: null,
        declinationDeg: null,
        northDeg: null,
        eastDeg: null,
        orientationFrom: null,
        arcsecPerPx: null,
        latitudeDeg: null,
        longitudeDeg: null,
        pierSide: null,
        ...run.pointing,
      }
    : null,
});
