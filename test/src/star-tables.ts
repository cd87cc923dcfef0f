import type { StarTable } from '../../workers/protocol/stars.ts';

/** A star table of `count` plain stars; `fill` changes what a test is about. */
export function starTableOf(count: number, fill: (stars: StarTable, i: number) => void): StarTable {
  const f32 = (value: number) => new Float32Array(count).fill(value);
  const stars: StarTable = {
    count,
    xPx: new Float64Array(count),
    yPx: new Float64Array(count),
    positionSigmaPx: f32(0.02),
    fluxAdu: new Float64Array(count).fill(10_000),
    snr: f32(100),
    peakAdu: f32(2000),
    backgroundAdu: f32(500),
    fwhmPx: f32(3),
    fwhmSigmaPx: f32(0.05),
    hfdPx: f32(3.2),
    hfdSigmaPx: f32(0.05),
    e1: f32(0),
    e2: f32(0),
    eSigma: f32(0.01),
    rmsPx: f32(1.3),
    cometX: f32(0),
    cometY: f32(0),
    cloverX: f32(0),
    cloverY: f32(0),
    flags: new Uint32Array(count),
  };
  for (let i = 0; i < count; i++) fill(stars, i);
  return stars;
}
