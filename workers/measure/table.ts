import type { StarTable } from '../protocol/stars.ts';
import type { MeasuredStar } from './star.ts';

/** The star table in ADU from measured stars in stored units (ADU = zero + scale * stored). */
export function starTable(stars: MeasuredStar[], scale: number, zero: number): StarTable {
  const count = stars.length;
  const fill = <T extends Float32Array | Float64Array | Uint32Array>(
    column: T,
    pick: (star: MeasuredStar) => number,
  ): T => {
    for (let i = 0; i < count; i++) column[i] = pick(stars[i]);
    return column;
  };
  const f32 = (pick: (star: MeasuredStar) => number) => fill(new Float32Array(count), pick);
  const f64 = (pick: (star: MeasuredStar) => number) => fill(new Float64Array(count), pick);
  return {
    count,
    xPx: f64((star) => star.xPx),
    yPx: f64((star) => star.yPx),
    positionSigmaPx: f32((star) => star.positionSigmaPx),
    fluxAdu: f64((star) => star.flux * scale),
    snr: f32((star) => star.snr),
    peakAdu: f32((star) => star.peak * scale),
    backgroundAdu: f32((star) => zero + star.sky * scale),
    fwhmPx: f32((star) => star.fwhmPx),
    fwhmSigmaPx: f32((star) => star.fwhmSigmaPx),
    hfdPx: f32((star) => star.hfdPx),
    hfdSigmaPx: f32((star) => star.hfdSigmaPx),
    e1: f32((star) => star.e1),
    e2: f32((star) => star.e2),
    eSigma: f32((star) => star.eSigma),
    rmsPx: f32((star) => star.rmsPx),
    cometX: f32((star) => star.comet[0]),
    cometY: f32((star) => star.comet[1]),
    cloverX: f32((star) => star.clover[0]),
    cloverY: f32((star) => star.clover[1]),
    flags: fill(new Uint32Array(count), (star) => star.flags),
  };
}
