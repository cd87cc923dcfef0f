/**
 * The star table: a struct of arrays, all of length `count`, brightest first.
 * Shapes are those of the star as seen through the pixel. NaN marks what could not be measured.
 */
export interface StarTable {
  count: number;
  /** Position of the flux centroid, full-frame pixels. */
  xPx: Float64Array;
  yPx: Float64Array;
  /** Standard error of the position, per axis. */
  positionSigmaPx: Float32Array;
  fluxAdu: Float64Array;
  /** Signal to noise of the flux in a matched aperture. */
  snr: Float32Array;
  peakAdu: Float32Array;
  backgroundAdu: Float32Array;
  /** Diameter of the circle with the area inside the half-peak contour of the fitted profile. */
  fwhmPx: Float32Array;
  fwhmSigmaPx: Float32Array;
  /** Diameter of the circle about the centroid that holds half of the flux. */
  hfdPx: Float32Array;
  hfdSigmaPx: Float32Array;
  /** Distortion (Ixx - Iyy) / (Ixx + Iyy) and 2 Ixy / (Ixx + Iyy), from the second moments. */
  e1: Float32Array;
  e2: Float32Array;
  /** Standard error of e1 and of e2. */
  eSigma: Float32Array;
  /** Per-axis rms width from the second moments. */
  rmsPx: Float32Array;
  /**
   * Third central moments over the cube of the rms width, as spins:
   * comet = <|z|^2 z>, clover = <z^3>, z = x + iy. A comet's tail points along `comet`.
   */
  cometX: Float32Array;
  cometY: Float32Array;
  cloverX: Float32Array;
  cloverY: Float32Array;
  flags: Uint32Array;
}
