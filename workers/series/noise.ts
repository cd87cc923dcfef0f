/**
 * What the places of a run scatter by beside their own errors: from frame to frame (air, wind), and as a wander that
 * one frame shares with the next (the mount). The wander's covariance falls as exp(-|dt| / wanderS).
 */
export interface Noise {
  scatterPx2: number;
  wanderPx2: number;
  wanderS: number;
}

export interface Whitened {
  columns: Float64Array[];
  /** Sum over the frames of the logarithm of the innovation's variance. */
  logVariance: number;
}

/**
 * Turns columns over time into independent ones of unit variance: the innovations of a Kalman filter for the wander,
 * exact generalised least squares in one pass (Kalman 1960; Jones 1980, Technometrics 22, 389, for uneven spacing).
 */
export function whiten(
  columns: readonly Float64Array[],
  timeS: Float64Array,
  own: Float64Array,
  noise: Noise,
): Whitened {
  const n = timeS.length;
  const out = columns.map(() => new Float64Array(n));
  const state = new Float64Array(columns.length);
  let spread = noise.wanderPx2;
  let logVariance = 0;
  for (let i = 0; i < n; i++) {
    const decay =
      i === 0 || noise.wanderPx2 === 0 ? 0 : Math.exp(-Math.abs(timeS[i] - timeS[i - 1]) / noise.wanderS);
    spread = noise.wanderPx2 + decay * decay * (spread - noise.wanderPx2);
    const variance = spread + own[i] + noise.scatterPx2;
    const gain = spread / variance;
    const root = Math.sqrt(variance);
    logVariance += Math.log(variance);
    for (let c = 0; c < columns.length; c++) {
      const expected = decay * state[c];
      const innovation = columns[c][i] - expected;
      out[c][i] = innovation / root;
      state[c] = expected + gain * innovation;
    }
    spread *= 1 - gain;
  }
  return { columns: out, logVariance };
}
