import type { StarTable } from '../protocol/stars.ts';
import type { MeasuredStar } from './star.ts';

/** The star table in ADU from measured stars in stored units (ADU = zero + scale * stored). */
export function starTable(stars: MeasuredStar[], scale: number, zero: number): StarTable {
  const count = stars.length;
  const f32 = () => new Float32Array(count);
  const f64 = () => new Float64Array(count);
  const table: StarTable = {
    count,
    xPx: f64(),
    yPx: f64(),
    positionSigmaPx: f32(),
    fluxAdu: f64(),
    snr: f32(),
    peakAdu: f32(),
    backgroundAdu: f32(),
    fwhmPx: f32(),
    fwhmSigmaPx: f32(),
    hfdPx: f32(),
    hfdSigmaPx: f32(),
    e1: f32(),
    e2: f32(),
    eSigma: f32(),
    rmsPx: f32(),
    cometX: f32(),
    cometY: f32(),
    cloverX: f32(),
    cloverY: f32(),
    flags: new Uint32Array(count),
  };
  // Star by star: the numbers of one lie together.
  for (let i = 0; i < count; i++) {
    const star = stars[i];
    table.xPx[i] = star.xPx;
    table.yPx[i] = star.yPx;
    table.positionSigmaPx[i] = star.positionSigmaPx;
    table.fluxAdu[i] = star.flux * scale;
    table.snr[i] = star.snr;
    table.peakAdu[i] = star.peak * scale;
    table.backgroundAdu[i] = zero + star.sky * scale;
    table.fwhmPx[i] = star.fwhmPx;
    table.fwhmSigmaPx[i] = star.fwhmSigmaPx;
    table.hfdPx[i] = star.hfdPx;
    table.hfdSigmaPx[i] = star.hfdSigmaPx;
    table.e1[i] = star.e1;
    table.e2[i] = star.e2;
    table.eSigma[i] = star.eSigma;
    table.rmsPx[i] = star.rmsPx;
    table.cometX[i] = star.comet[0];
    table.cometY[i] = star.comet[1];
    table.cloverX[i] = star.clover[0];
    table.cloverY[i] = star.clover[1];
    table.flags[i] = star.flags;
  }
  return table;
}
