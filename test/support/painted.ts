import { createRandom } from '../../workers/simulate/random.ts';
import type { Frame16, Place } from './star-frames.ts';

/** A star drawn as a sum of round Gaussian spots (weights sum to 1), rms `sigmaPx` each before the pixel. */
export interface Brush {
  spots: { dx: number; dy: number; weight: number }[];
  sigmaPx: number;
}

export interface Painting {
  widthPx: number;
  heightPx: number;
  stars: (Place & { fluxElectrons: number })[];
  brush: Brush;
  skyElectrons: number;
  readNoiseElectrons: number;
  gainElectronsPerAdu: number;
  offsetAdu: number;
  seed: number;
  /** More light: expectation in electrons, row by row, changed in place before the noise. */
  also?: (electrons: Float64Array, widthPx: number, heightPx: number) => void;
}

/** A uniform ring, as geometric optics draws a defocused star: radii in pixels. */
export function ringBrush(outerPx: number, innerPx: number, sigmaPx: number): Brush {
  const spots: Brush['spots'] = [];
  const step = sigmaPx; // the ripple of Gaussians one rms apart is below 1e-7
  for (let dy = -outerPx; dy <= outerPx; dy += step)
    for (let dx = -outerPx; dx <= outerPx; dx += step) {
      const r = Math.hypot(dx, dy);
      if (r <= outerPx && r >= innerPx) spots.push({ dx, dy, weight: 1 });
    }
  return { spots: spots.map((spot) => ({ ...spot, weight: 1 / spots.length })), sigmaPx };
}

/** A straight trail of this length (end to end), evenly bright. */
export function trailBrush(lengthPx: number, angleDeg: number, sigmaPx: number): Brush {
  const count = Math.ceil(lengthPx / sigmaPx) + 1;
  const [c, s] = [Math.cos((angleDeg * Math.PI) / 180), Math.sin((angleDeg * Math.PI) / 180)];
  return {
    sigmaPx,
    spots: Array.from({ length: count }, (_, i) => {
      const at = ((i + 0.5) / count - 0.5) * lengthPx;
      return { dx: c * at, dy: s * at, weight: 1 / count };
    }),
  };
}

/** Two images, the second holding `minority` of the light at (dx, dy) from the first; the light's mean at the star. */
export const kickBrush = (dx: number, dy: number, minority: number, sigmaPx: number): Brush => ({
  sigmaPx,
  spots: [
    { dx: -minority * dx, dy: -minority * dy, weight: 1 - minority },
    { dx: (1 - minority) * dx, dy: (1 - minority) * dy, weight: minority },
  ],
});

/** The light of one star in the pixel at (dx, dy) from it. The pixel adds 1/12 px² to a spot (handbook of widths). */
export function brushAt({ spots, sigmaPx }: Brush, dx: number, dy: number): number {
  const variance = sigmaPx ** 2 + 1 / 12;
  let sum = 0;
  for (const spot of spots) {
    const r2 = (dx - spot.dx) ** 2 + (dy - spot.dy) ** 2;
    if (r2 < 40 * variance) sum += spot.weight * Math.exp(-r2 / (2 * variance));
  }
  return sum / (2 * Math.PI * variance);
}

export const brushReach = ({ spots, sigmaPx }: Brush): number =>
  spots.reduce((most, { dx, dy }) => Math.max(most, Math.hypot(dx, dy)), 0) + 6 * (sigmaPx + 0.3);

/** Diameter of the circle about the light's centre that holds half of it, from a fine grid. */
export function brushHfdPx(brush: Brush): number {
  const reach = brushReach(brush);
  const step = reach / 150;
  const rings: { r: number; light: number }[] = [];
  for (let y = -reach; y <= reach; y += step)
    for (let x = -reach; x <= reach; x += step)
      rings.push({ r: Math.hypot(x, y), light: brushAt(brush, x, y) * step ** 2 });
  rings.sort((a, b) => a.r - b.r);
  let inside = 0;
  for (const { r, light } of rings) {
    inside += light;
    if (inside >= 0.5) return 2 * r;
  }
  throw new Error('half of the light is missing');
}

/** Second moments of the light with the pixel's 1/12. */
export function brushMoments({ spots, sigmaPx }: Brush) {
  const m = { xx: sigmaPx ** 2 + 1 / 12, yy: sigmaPx ** 2 + 1 / 12, xy: 0 };
  for (const { dx, dy, weight } of spots) {
    m.xx += weight * dx * dx;
    m.yy += weight * dy * dy;
    m.xy += weight * dx * dy;
  }
  return m;
}

export function paint(painting: Painting): Frame16 {
  const { widthPx, heightPx, brush } = painting;
  const electrons = new Float64Array(widthPx * heightPx).fill(painting.skyElectrons);
  const reach = Math.ceil(brushReach(brush));
  for (const { xPx, yPx, fluxElectrons } of painting.stars)
    for (let y = Math.max(0, Math.ceil(yPx - reach)); y <= Math.min(heightPx - 1, yPx + reach); y++)
      for (let x = Math.max(0, Math.ceil(xPx - reach)); x <= Math.min(widthPx - 1, xPx + reach); x++)
        electrons[y * widthPx + x] += fluxElectrons * brushAt(brush, x - xPx, y - yPx);
  painting.also?.(electrons, widthPx, heightPx);
  const random = createRandom(painting.seed);
  const pixels = Uint16Array.from(electrons, (expected) => {
    const collected = random.poisson(expected) + painting.readNoiseElectrons * random.normal();
    const adu = Math.round(painting.offsetAdu + collected / painting.gainElectronsPerAdu);
    return Math.max(0, Math.min(65535, adu));
  });
  return { pixels, widthPx, heightPx };
}
