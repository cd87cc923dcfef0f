import { sagittalComaUm } from './coma.ts';
import { still, transform, type Waves } from './fourier.ts';
import { GREEN_UM } from './image-scale.ts';
import type { PlannedOptics } from './planned-star.ts';

/** Subdivisions each way of a pupil sample on its rim. */
const RIM = 4;

/**
 * A star's picture by wave optics at 0.55 µm: the aberrated pupil's diffraction pattern, through the air's transfer
 * exp[-3.44193 (f w / 0.975863)^(5/3)] for a full width w (Fried 1966) and the pixel's sinc. Side x side values row by
 * row, peak 1, the light's centre on the middle sample. Good while the pupil's samples follow the wavefront: up to some
 * six waves of coma at the edge.
 */
export function waveStar(
  optics: PlannedOptics,
  xMm: number,
  yMm: number,
  side: number,
  samplesPerPx: number,
): Float32Array {
  const sampleUm = optics.pixelSizeUm / samplesPerPx;
  // Finer by a whole number, so that the pattern of light is sampled above its cut-off 1/(λF).
  const finer = Math.ceil(sampleUm / (0.45 * GREEN_UM * optics.focalRatio));
  const pitchUm = sampleUm / finer;
  const waves = pupil(optics, xMm, yMm, pitchUm);
  const { side: grid } = waves;
  transform(waves);
  const { re, im } = waves;
  for (let i = 0; i < re.length; i++) {
    re[i] = re[i] ** 2 + im[i] ** 2;
    im[i] = 0;
  }
  transform(waves);
  throughAirAndPixel(waves, optics, xMm, yMm, pitchUm);
  transform(waves, true);

  const values = new Float32Array(side * side);
  const middle = (side - 1) / 2;
  let peak = 0;
  for (let row = 0; row < side; row++)
    for (let col = 0; col < side; col++) {
      const [x, y] = [(col - middle) * finer, (row - middle) * finer];
      if (Math.max(Math.abs(x), Math.abs(y)) >= grid / 2) continue;
      const light = waves.re[((y + grid) % grid) * grid + ((x + grid) % grid)];
      values[row * side + col] = Math.max(0, light);
      peak = Math.max(peak, light);
    }
  return values.map((value) => value / peak);
}

/**
 * The pupil's field about the origin. W = w ρ³ cos φ + dz/(8F²) (ρ cos φ)², w = Cs/(2F), dz = h²/f: coma, and the
 * tangential focus off the flat sensor; cos φ along the way from the axis.
 */
function pupil(optics: PlannedOptics, xMm: number, yMm: number, pitchUm: number): Waves {
  const { focalRatio, focalLengthMm, obstruction } = optics;
  const height = Math.hypot(xMm, yMm);
  const [ux, uy] = height > 0 ? [xMm / height, yMm / height] : [1, 0];
  const comaWaves = comaEdgeUm(optics, height) / GREEN_UM;
  const stretchWaves = (1000 * height ** 2) / (focalLengthMm * 8 * focalRatio ** 2) / GREEN_UM;
  // Strong coma turns the phase by half a wave within fewer samples.
  const side = comaWaves > 1.2 ? 256 : 128;
  // λF / pitch samples of the sensor's plane per turn of the pupil's rim: the pupil is this wide in samples.
  const radius = (side * pitchUm) / (GREEN_UM * focalRatio) / 2;
  const waves = still(side);
  const reach = Math.ceil(radius) + 1;
  for (let j = -reach; j <= reach; j++)
    for (let i = -reach; i <= reach; i++) {
      const open = openPart(i, j, radius, obstruction);
      if (open === 0) continue;
      const [x, y] = [i / radius, j / radius];
      const along = x * ux + y * uy;
      const phase = 2 * Math.PI * (comaWaves * along * (x * x + y * y) + stretchWaves * along ** 2);
      const at = ((j + side) % side) * side + ((i + side) % side);
      waves.re[at] = open * Math.cos(phase);
      waves.im[at] = open * Math.sin(phase);
    }
  return waves;
}

/** Coma of a bare mirror at the pupil's edge, W = w ρ³ cos φ, micrometres: h / (32 F³). */
export const comaEdgeUm = (optics: PlannedOptics, heightMm: number): number =>
  sagittalComaUm(heightMm, optics.focalRatio) / (2 * optics.focalRatio);

/** Part of a pupil sample that lies in the annulus, so that its rims are not staircases. */
function openPart(i: number, j: number, radius: number, obstruction: number): number {
  const r = Math.hypot(i, j);
  if (r > radius + 1 || r < obstruction * radius - 1) return 0;
  if (r < radius - 1 && r > obstruction * radius + 1) return 1;
  let inside = 0;
  for (let a = 0; a < RIM; a++)
    for (let b = 0; b < RIM; b++) {
      const rho = Math.hypot(i + (a + 0.5) / RIM - 0.5, j + (b + 0.5) / RIM - 0.5) / radius;
      if (rho <= 1 && rho >= obstruction) inside++;
    }
  return inside / RIM ** 2;
}

function throughAirAndPixel(
  { side, re, im }: Waves,
  optics: PlannedOptics,
  xMm: number,
  yMm: number,
  pitchUm: number,
): void {
  const height = Math.hypot(xMm, yMm);
  const [ux, uy] = height > 0 ? [xMm / height, yMm / height] : [1, 0];
  // The spot's centre of light lies (1 + ε²) Cs from the chief ray (mean of its rays): taken back to the middle.
  const centreUm = (1 + optics.obstruction ** 2) * sagittalComaUm(height, optics.focalRatio);
  const sinc = (x: number) => (x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x));
  for (let j = 0; j < side; j++)
    for (let i = 0; i < side; i++) {
      const fx = (i < side / 2 ? i : i - side) / (side * pitchUm);
      const fy = (j < side / 2 ? j : j - side) / (side * pitchUm);
      const air = Math.exp(-3.44193 * ((Math.hypot(fx, fy) * optics.seeingFwhmUm) / 0.975863) ** (5 / 3));
      const by = air * sinc(fx * optics.pixelSizeUm) * sinc(fy * optics.pixelSizeUm);
      const turn = 2 * Math.PI * centreUm * (fx * ux + fy * uy);
      const [c, s] = [by * Math.cos(turn), by * Math.sin(turn)];
      const at = j * side + i;
      [re[at], im[at]] = [re[at] * c - im[at] * s, re[at] * s + im[at] * c];
    }
}
