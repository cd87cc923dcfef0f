import { sagittalComaUm } from './coma.ts';
import { diffractionFwhm } from './diffraction.ts';
import { GREEN_UM } from './image-scale.ts';
import { comaEdgeUm, waveStar } from './wave-star.ts';

/** What a bare mirror (paraboloid or sphere, stop at the mirror) and the air do to a star, in focus on the axis. */
export interface PlannedOptics {
  focalLengthMm: number;
  focalRatio: number;
  obstruction: number;
  /** Full width that the air alone gives. */
  seeingFwhmUm: number;
  pixelSizeUm: number;
}

const RINGS = 24;
const SPOKES = 72;

/**
 * Where rays of equal light land, micrometres from the chief ray: third-order coma Cs (2ρ² + z²) along the direction
 * away from the axis, and on a flat sensor through the axial focus the tangential focus' distance h²/f, which spreads
 * rays by h²/(2fF) along that direction (the sagittal focus lies in the plane; Schroeder, Astronomical Optics, ch. 5-6).
 * Place in millimetres from the axis. Pairs x, y one behind the other.
 */
export function spotRays(optics: PlannedOptics, xMm: number, yMm: number): Float64Array {
  const height = Math.hypot(xMm, yMm);
  const [ux, uy] = height > 0 ? [xMm / height, yMm / height] : [1, 0];
  const cs = sagittalComaUm(height, optics.focalRatio);
  const stretch = (1000 * height ** 2) / (2 * optics.focalLengthMm * optics.focalRatio);
  const rays = new Float64Array(2 * RINGS * SPOKES);
  let at = 0;
  for (let ring = 0; ring < RINGS; ring++) {
    // Rings of equal area over the annulus.
    const rho2 = optics.obstruction ** 2 + ((ring + 0.5) / RINGS) * (1 - optics.obstruction ** 2);
    const rho = Math.sqrt(rho2);
    for (let spoke = 0; spoke < SPOKES; spoke++) {
      const phi = (2 * Math.PI * (spoke + (ring % 2) / 2)) / SPOKES;
      const along = cs * rho2 * (2 + Math.cos(2 * phi)) + stretch * rho * Math.cos(phi);
      const across = cs * rho2 * Math.sin(2 * phi);
      rays[at++] = along * ux - across * uy;
      rays[at++] = along * uy + across * ux;
    }
  }
  return rays;
}

/** Coma at the pupil's edge, in waves, up to which wave optics is reckoned. */
const MOST_WAVES = 5;
/** Wings of long exposures through Kolmogorov's air: Moffat's profile with this exponent (Trujillo et al. 2001, from memory). */
const AIR_BETA = 4.765;

/**
 * The star's picture through the pixel, super-sampled: side x side values row by row (side odd), peak 1, its light's
 * centre on the middle sample. By wave optics while the coma is a few waves, by rays beyond: rays make small coma too
 * strong, wave optics of strong coma needs many samples.
 */
export function plannedStar(
  optics: PlannedOptics,
  xMm: number,
  yMm: number,
  side: number,
  samplesPerPx: number,
): Float32Array {
  const draw = comaEdgeUm(optics, Math.hypot(xMm, yMm)) < MOST_WAVES * GREEN_UM ? waveStar : rayStar;
  return draw(optics, xMm, yMm, side, samplesPerPx);
}

/** As `plannedStar`, by rays. Air and diffraction together are one Moffat profile, widths added in quadrature. */
export function rayStar(
  optics: PlannedOptics,
  xMm: number,
  yMm: number,
  side: number,
  samplesPerPx: number,
): Float32Array {
  const perUm = samplesPerPx / optics.pixelSizeUm;
  const spots = laidOnGrid(spotRays(optics, xMm, yMm), perUm, side);
  const diffractionUm = diffractionFwhm(optics.obstruction) * GREEN_UM * optics.focalRatio;
  const round = throughPixel(Math.hypot(optics.seeingFwhmUm, diffractionUm) * perUm, samplesPerPx, side);
  const reach = (round.side - 1) / 2;
  const sum = new Float64Array(side * side);
  for (let cell = 0; cell < spots.length; cell++) {
    if (spots[cell] === 0) continue;
    const [col, row] = [cell % side, Math.floor(cell / side)];
    const [first, last] = [Math.max(0, col - reach), Math.min(side - 1, col + reach)];
    for (let y = Math.max(0, row - reach); y <= Math.min(side - 1, row + reach); y++) {
      const from = (y - row + reach) * round.side - col + reach;
      for (let x = first; x <= last; x++) sum[y * side + x] += spots[cell] * round.values[from + x];
    }
  }
  const peak = sum.reduce((most, value) => Math.max(most, value), 0);
  return Float32Array.from(sum, (value) => value / peak);
}

/** Rays shared out among the four samples around each, their mean on the middle sample. */
function laidOnGrid(rays: Float64Array, perUm: number, side: number): Float64Array {
  const count = rays.length / 2;
  let [mx, my] = [0, 0];
  for (let i = 0; i < count; i++) {
    mx += rays[2 * i] / count;
    my += rays[2 * i + 1] / count;
  }
  const middle = (side - 1) / 2;
  const grid = new Float64Array(side * side);
  for (let i = 0; i < count; i++) {
    const x = middle + (rays[2 * i] - mx) * perUm;
    const y = middle + (rays[2 * i + 1] - my) * perUm;
    const [col, row] = [Math.floor(x), Math.floor(y)];
    if (col < 0 || row < 0 || col >= side - 1 || row >= side - 1) continue;
    const [fx, fy] = [x - col, y - row];
    const cell = row * side + col;
    grid[cell] += (1 - fx) * (1 - fy);
    grid[cell + 1] += fx * (1 - fy);
    grid[cell + side] += (1 - fx) * fy;
    grid[cell + side + 1] += fx * fy;
  }
  return grid;
}

/** The round profile averaged over a pixel, out to four full widths or the picture's size. Lengths in samples. */
function throughPixel(fwhm: number, pixel: number, most: number): { side: number; values: Float64Array } {
  const reach = Math.min(most - 1, Math.ceil(4 * fwhm + pixel));
  const side = 2 * reach + 1;
  const sharpness = (4 * (2 ** (1 / AIR_BETA) - 1)) / fwhm ** 2;
  const values = new Float64Array(side * side);
  const steps = 5;
  for (let i = 0; i < steps; i++)
    for (let j = 0; j < steps; j++) {
      const [ox, oy] = [((i + 0.5) / steps - 0.5) * pixel, ((j + 0.5) / steps - 0.5) * pixel];
      for (let cell = 0; cell < values.length; cell++) {
        const r2 = ((cell % side) - reach + ox) ** 2 + (Math.floor(cell / side) - reach + oy) ** 2;
        values[cell] += (1 + sharpness * r2) ** -AIR_BETA;
      }
    }
  return { side, values };
}

/** FWHM as it is defined for measured stars: diameter of the circle with the area above half of the peak, pixels. */
export function halfPeakWidthPx(values: ArrayLike<number>, samplesPerPx: number): number {
  let area = 0;
  for (let i = 0; i < values.length; i++) if (values[i] >= 0.5) area++;
  return (2 * Math.sqrt(area / Math.PI)) / samplesPerPx;
}

/**
 * Elongation as a fitted profile sees it: axes of the elliptical Gaussian weight that matches the star,
 * M = 2 sum(w xx I) / sum(w I) at the fixed point (Bernstein & Jarvis 2002; Hirata & Seljak 2003). Plain second moments
 * would follow the faint end of a comet's tail, which no fit to a star in noise does. Picture of side x side values.
 */
export function matchedElongation(values: ArrayLike<number>): number {
  const side = Math.sqrt(values.length);
  let [cx, cy] = [(side - 1) / 2, (side - 1) / 2];
  let [xx, yy, xy] = [side, side, 0];
  for (let round = 0; round < 60; round++) {
    const det = xx * yy - xy * xy;
    let [total, sx, sy, sxx, syy, sxy] = [0, 0, 0, 0, 0, 0];
    for (let i = 0; i < values.length; i++) {
      const [dx, dy] = [(i % side) - cx, Math.floor(i / side) - cy];
      const light = values[i] * Math.exp((-0.5 * (yy * dx * dx - 2 * xy * dx * dy + xx * dy * dy)) / det);
      total += light;
      sx += light * dx;
      sy += light * dy;
      sxx += light * dx * dx;
      syy += light * dy * dy;
      sxy += light * dx * dy;
    }
    const [mx, my] = [sx / total, sy / total];
    cx += 2 * mx;
    cy += 2 * my;
    const next = [2 * (sxx / total - mx * mx), 2 * (syy / total - my * my), 2 * (sxy / total - mx * my)];
    const moved = Math.abs(next[0] - xx) + Math.abs(next[1] - yy);
    [xx, yy, xy] = next;
    if (moved < 1e-6 * xx) break;
  }
  const e = Math.hypot(xx - yy, 2 * xy) / (xx + yy);
  return Math.sqrt((1 + e) / (1 - e));
}
