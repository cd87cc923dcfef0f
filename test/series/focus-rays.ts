import type { SeriesRecord } from '../../workers/protocol/series.ts';
import { recordOf } from '../../workers/series/record.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { reportOf } from '../src/reports.ts';
import { starTableOf } from '../src/star-tables.ts';

// Focus runs as lists of stars drawn by rays: each star is a cloud of rays through an annulus with defocus, coma and
// astigmatism, blurred by a Gaussian for the air; sizes are medians over the cloud. No wave optics, no formula of the fit.

export interface RayRun {
  focalLengthMm: number;
  focalRatio: number;
  obstruction: number;
  pixelUm: number;
  widthPx: number;
  heightPx: number;
  seeingArcsec: number;
  /** Change of the air's width from frame to frame, relative rms. */
  seeingChange: number;
  umPerStep: number;
  positions: number[];
  /** Position at which the sensor's centre is in focus. */
  bestPosition: number;
  tiltUmPerMm: { x: number; y: number };
  /** 1/m: z = focus + tilt - curvature r²/2. */
  curvaturePerM: number;
  /** 1 = a bare paraboloid. */
  coma: number;
  astigmatism: number;
  stars: number;
  /** Relative error of the size of a bright star; faint ones have up to six times as much. */
  noise: number;
  /** Frame whose stars are doubled by a kick. */
  kicked: number | null;
  junk: number;
  seed: number;
}

interface Ray {
  u: number;
  v: number;
  a: number;
  b: number;
}
const RAYS = 800;
const SEEING = 2.3548;

export function rayRecords(run: RayRun): SeriesRecord[] {
  const random = createRandom(run.seed);
  const gauss = () => random.normal();
  const moments = createRandom(5000 + run.seed);
  const stars = Array.from({ length: run.stars }, () => ({
    x: (random.uniform() - 0.5) * (run.widthPx - 40),
    y: (random.uniform() - 0.5) * (run.heightPx - 40),
    faint: random.uniform(),
  }));
  // Each ray twice with opposite blur, so that chance makes no difference between the two sides of focus.
  const unit = Array.from({ length: RAYS / 2 }, (_, i) => {
    const rho = Math.sqrt(run.obstruction ** 2 + ((2 * i + 1) / RAYS) * (1 - run.obstruction ** 2));
    const angle = i * Math.PI * (3 - Math.sqrt(5));
    return { u: rho * Math.cos(angle), v: rho * Math.sin(angle), a: gauss(), b: gauss() };
  }).flatMap((ray) => [ray, { ...ray, a: -ray.a, b: -ray.b }]);
  return run.positions.map((position, frame) => {
    const air =
      (run.seeingArcsec * run.focalLengthMm * (1 + run.seeingChange * gauss())) / 206.264806 / SEEING;
    const blur = Math.hypot(air, run.pixelUm / Math.sqrt(12), 0.42 * 0.55 * run.focalRatio);
    const drawn = stars
      .filter(() => random.uniform() > 0.06)
      .map((star) => ({ star, ...cloud(run, unit, star, position, blur, frame === run.kicked ? 14 : 0) }));
    const rows = drawn.map(({ star, hfdPx, rmsPx, e1, e2 }) => {
      const noise = run.noise * (1 + 5 * star.faint ** 2);
      return {
        xPx: star.x + (run.widthPx - 1) / 2 + 0.1 * gauss(),
        yPx: star.y + (run.heightPx - 1) / 2 + 0.1 * gauss(),
        hfdPx: hfdPx * Math.exp(noise * gauss()),
        hfdSigmaPx: noise * hfdPx,
        // Moments weigh the outskirts: noisier (rendered frames: four times as noisy in their square).
        rmsPx: rmsPx * Math.exp(2 * noise * moments.normal()),
        e1: e1 + noise * gauss(),
        e2: e2 + noise * gauss(),
        eSigma: noise,
        snr: 1 / noise,
        fluxAdu: 1e5 * (1.1 - star.faint),
      };
    });
    for (let i = 0; i < run.junk; i++)
      rows.push({
        ...rows[i],
        xPx: random.uniform() * run.widthPx,
        yPx: random.uniform() * run.heightPx,
        hfdPx: 1.5 + 8 * random.uniform(),
      });
    return record(run, rows, position, frame);
  });
}

/** Half-flux diameter (px) about the centroid and distortion of a star's rays. */
function cloud(
  run: RayRun,
  unit: Ray[],
  star: { x: number; y: number },
  position: number,
  blurUm: number,
  kickUm: number,
) {
  const [x, y] = [(star.x * run.pixelUm) / 1000, (star.y * run.pixelUm) / 1000];
  const h = Math.hypot(x, y);
  const [c, s] = h > 0 ? [x / h, y / h] : [1, 0];
  const z =
    run.umPerStep * (position - run.bestPosition) +
    run.tiltUmPerMm.x * x +
    run.tiltUmPerMm.y * y -
    (run.curvaturePerM * h * h) / 2;
  // Third order (handbook of optics): sagittal coma h/16F², tangential before sagittal focus by h²/f.
  const cs = (run.coma * 1000 * h) / (16 * run.focalRatio ** 2);
  const half = (run.astigmatism * 1000 * h * h) / (2 * run.focalLengthMm);
  const points = unit.map(({ u, v, a, b }, i) => {
    const [along, across] = [u * c + v * s, v * c - u * s];
    const p = (along * (z + half)) / (2 * run.focalRatio) + cs * (3 * along * along + across * across);
    const q = (across * (z - half)) / (2 * run.focalRatio) + cs * 2 * along * across;
    const kick = i % 2 ? kickUm : 0;
    return [p * c - q * s + blurUm * a + kick, p * s + q * c + blurUm * b];
  });
  const mx = points.reduce((sum, [px]) => sum + px, 0) / RAYS;
  const my = points.reduce((sum, [, py]) => sum + py, 0) / RAYS;
  let [xx, yy, xy] = [0, 0, 0];
  const radii = points.map(([px, py]) => {
    const [dx, dy] = [px - mx, py - my];
    xx += dx * dx;
    yy += dy * dy;
    xy += dx * dy;
    return Math.hypot(dx, dy);
  });
  radii.sort((p, q) => p - q);
  const hfdPx = (radii[RAYS / 2 - 1] + radii[RAYS / 2]) / run.pixelUm;
  const rmsPx = Math.sqrt((xx + yy) / 2 / RAYS) / run.pixelUm;
  return { hfdPx, rmsPx, e1: (xx - yy) / (xx + yy), e2: (2 * xy) / (xx + yy) };
}

interface Row {
  xPx: number;
  yPx: number;
  hfdPx: number;
  hfdSigmaPx: number;
  rmsPx: number;
  e1: number;
  e2: number;
  eSigma: number;
  snr: number;
  fluxAdu: number;
}

function record(run: RayRun, rows: Row[], position: number, frame: number): SeriesRecord {
  const facts = {
    mosaic: null,
    exposureS: 4,
    pixelSizeUm: run.pixelUm,
    focalLengthMm: run.focalLengthMm,
    apertureMm: run.focalLengthMm / run.focalRatio,
    obstruction: run.obstruction,
    arcsecPerPx: null,
  };
  const report = {
    ...reportOf(() => null),
    file: `focus-${frame + 1}.fits`,
    frame: { widthPx: run.widthPx, heightPx: run.heightPx, ...facts },
  };
  const table = starTableOf(rows.length, (stars, i) => {
    stars.xPx[i] = rows[i].xPx;
    stars.yPx[i] = rows[i].yPx;
    stars.hfdPx[i] = rows[i].hfdPx;
    stars.hfdSigmaPx[i] = rows[i].hfdSigmaPx;
    stars.rmsPx[i] = rows[i].rmsPx;
    stars.e1[i] = rows[i].e1;
    stars.e2[i] = rows[i].e2;
    stars.eSigma[i] = rows[i].eSigma;
    stars.snr[i] = rows[i].snr;
    stars.fluxAdu[i] = rows[i].fluxAdu;
  });
  return recordOf(report, table, {
    format: 'FITS',
    ...facts,
    startTime: null,
    gainElectronsPerAdu: null,
    focusPosition: position,
    temperatureC: null,
    imageType: null,
    pointing: null,
  });
}

/** A run drawn by lot, of the telescopes that small cameras hang on; `changes` fix what a test is about. */
export function drawnRun(seed: number, changes: Partial<RayRun> = {}): RayRun {
  const random = createRandom(1000 + seed);
  const between = (low: number, high: number) => low + (high - low) * random.uniform();
  const pick = <T>(values: T[]) => values[random.integer(values.length)];
  const focalRatio = pick([4, 4, 5, 6]);
  const focalLengthMm = pick([400, 500, 650, 750]);
  const pixelUm = pick([2.9, 3.8, 4.8]);
  const frames = pick([7, 8, 9]);
  const umPerStep = pick([-1, 1]) * pick([0.8, 2, 4, 12]);
  const halfRunUm = between(24, 34) * 0.55 * focalRatio ** 2 * (focalRatio < 5 ? 0.7 : 0.5);
  const centre = between(-300, 9000);
  const bestOff = between(-0.25, 0.25) * halfRunUm;
  const angle = between(0, 2 * Math.PI);
  // A lean that shows: a good tenth of the run's reach over the half-diagonal.
  const halfDiagonalMm = (Math.hypot(1936, 1096) * pixelUm) / 2000;
  const tilt = (between(0.15, 0.5) * halfRunUm) / halfDiagonalMm;
  return {
    focalLengthMm,
    focalRatio,
    obstruction: between(0, 0.4),
    pixelUm,
    widthPx: 1936,
    heightPx: 1096,
    seeingArcsec: between(1.8, 3.5),
    seeingChange: 0.03,
    umPerStep,
    positions: Array.from({ length: frames }, (_, i) =>
      Math.round(centre + ((2 * i) / (frames - 1) - 1) * (halfRunUm / Math.abs(umPerStep))),
    ),
    bestPosition: centre + bestOff / Math.abs(umPerStep),
    tiltUmPerMm: { x: tilt * Math.cos(angle), y: tilt * Math.sin(angle) },
    curvaturePerM: between(-2, 2),
    coma: pick([0, 0, 0.1, 1]),
    astigmatism: 0,
    stars: Math.round(between(60, 160)),
    noise: 0.008,
    kicked: null,
    junk: 4,
    seed,
    ...changes,
  };
}
