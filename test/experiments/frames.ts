import type { Estimate, FrameReport, Region, ShapeSummary, Verdict } from '../../workers/protocol/report.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { drawnRun, rayRecords, type RayRun } from '../series/focus-rays.ts';

// Frames as reports: stars drawn by rays (focus-rays.ts), averaged over the nine cells, with what moved them added.

export interface Shot {
  /** Telescope, tilt and the like; the focuser counts in µm, 0 = in focus. */
  run?: Partial<RayRun>;
  positionUm?: number;
  exposureS?: number;
  /** Second moment of a trail along an axis, px²: a straight one of length L has L² / 12. */
  trailPx2?: number;
  trailDeg?: number;
  cause: Verdict['cause'];
  confidence: number;
  rival: Verdict['cause'];
  seed?: number;
}

const TELESCOPE: Partial<RayRun> = {
  focalLengthMm: 600,
  focalRatio: 4,
  obstruction: 0.3,
  pixelUm: 3.8,
  seeingArcsec: 2.5,
  seeingChange: 0.04,
  umPerStep: 1,
  bestPosition: 0,
  tiltUmPerMm: { x: 0, y: 0 },
  curvaturePerM: 0,
  coma: 0,
  stars: 140,
  noise: 0.01,
  junk: 0,
};

export function shot({
  run = {},
  positionUm = 0,
  exposureS = 20,
  trailPx2 = 0,
  trailDeg = 0,
  seed = 1,
  ...verdict
}: Shot): FrameReport {
  const whole = drawnRun(seed, { ...TELESCOPE, ...run, positions: [positionUm], seed });
  const [record] = rayRecords(whole);
  const { stars } = record;
  const random = createRandom(9000 + seed);
  const rows = Array.from({ length: stars.count }, (_, i) => {
    const variance = stars.hfdPx[i] ** 2 / 8;
    const turn = (2 * trailDeg * Math.PI) / 180;
    const all = variance + trailPx2 / 2;
    return {
      x: stars.xPx[i],
      y: stars.yPx[i],
      hfdPx: Math.sqrt(8 * all),
      e1: (stars.e1[i] * variance + (trailPx2 / 2) * Math.cos(turn)) / all + 0.01 * random.normal(),
      e2: (stars.e2[i] * variance + (trailPx2 / 2) * Math.sin(turn)) / all + 0.01 * random.normal(),
    };
  });
  const cells: Region[] = [];
  for (let row = 0; row < 3; row++)
    for (let col = 0; col < 3; col++) {
      const inside = rows.filter(
        ({ x, y }) =>
          Math.floor((3 * x) / whole.widthPx) === col && Math.floor((3 * y) / whole.heightPx) === row,
      );
      cells.push({ col, row, cols: 3, rows: 3, stars: inside.length, ...summary(inside) });
    }
  const { cause, confidence, rival } = verdict;
  return {
    ...record.report,
    frame: { ...record.report.frame!, exposureS },
    sensor: summary(rows),
    regions: cells,
    verdict: {
      family: 'none',
      cause,
      confidence,
      headline: '',
      next: [],
      decider: { experiment: 'more-frames', do: '', between: [cause, rival] },
    },
  };
}

function summary(rows: { hfdPx: number; e1: number; e2: number }[]): ShapeSummary {
  if (rows.length < 2) return { fwhmPx: null, hfdPx: null, elongation: null, angleDeg: null };
  const mean = (pick: (row: (typeof rows)[number]) => number): Estimate => {
    const value = rows.reduce((sum, row) => sum + pick(row), 0) / rows.length;
    const spread = rows.reduce((sum, row) => sum + (pick(row) - value) ** 2, 0) / (rows.length - 1);
    return { value, sigma: Math.sqrt(spread / rows.length) };
  };
  const hfdPx = mean((row) => row.hfdPx);
  const [e1, e2] = [mean((row) => row.e1), mean((row) => row.e2)];
  const e = Math.hypot(e1.value, e2.value);
  return {
    fwhmPx: { value: 0.9 * hfdPx.value, sigma: 0.9 * hfdPx.sigma },
    hfdPx,
    elongation: { value: Math.sqrt((1 + e) / (1 - e)), sigma: e1.sigma / (1 - e) },
    angleDeg: { value: (Math.atan2(e2.value, e1.value) * 90) / Math.PI, sigma: 5 },
  };
}
