import type { Estimate, FrameReport, Region } from '../../workers/protocol/report.ts';

/** What one of the nine cells is given: FWHM and distortion (e1, e2) with their standard errors. */
export interface Cell {
  fwhmPx: number;
  sigma: number;
  e1: number;
  e2: number;
  eSigma: number;
}

/** A report whose nine cells come from `cell(u, v)`, u and v running from -1 to 1; null leaves a cell empty. */
export function reportOf(cell: (u: number, v: number) => Cell | null): FrameReport {
  const cells = [-1, 0, 1].flatMap((v) => [-1, 0, 1].map((u) => cell(u, v)));
  const regions = cells.map((given, i): Region => {
    const place = { col: i % 3, row: Math.floor(i / 3), cols: 3, rows: 3 };
    return { ...place, stars: given ? 20 : 0, ...summary(given) };
  });
  const given = cells.filter((c) => c !== null);
  const mean = (pick: (c: Cell) => number) => given.reduce((sum, c) => sum + pick(c), 0) / given.length;
  const whole: Cell = {
    fwhmPx: mean((c) => c.fwhmPx),
    sigma: mean((c) => c.sigma) / 3,
    e1: mean((c) => c.e1),
    e2: mean((c) => c.e2),
    eSigma: mean((c) => c.eSigma) / 3,
  };
  return {
    format: 1,
    file: 'test.fits',
    fault: null,
    warnings: [],
    frame: null,
    stars: { detected: 180, measured: 180, saturated: 0 },
    sensor: summary(whole),
    regions,
    model: null,
    budget: null,
    causes: null,
    verdict: null,
  };
}

function summary(cell: Cell | null) {
  if (!cell) return { fwhmPx: null, hfdPx: null, elongation: null, angleDeg: null };
  const e = Math.hypot(cell.e1, cell.e2);
  const estimate = (value: number, sigma: number): Estimate => ({ value, sigma });
  return {
    fwhmPx: estimate(cell.fwhmPx, cell.sigma),
    hfdPx: estimate(cell.fwhmPx, cell.sigma),
    elongation: estimate(Math.sqrt((1 + e) / (1 - e)), cell.eSigma),
    angleDeg: estimate((Math.atan2(cell.e2, cell.e1) * 90) / Math.PI, 5),
  };
}
