import { channelAt, type Channel, type MosaicName } from './mosaic.ts';
import { radialProfile, type ProfileName } from './profiles.ts';
import { createRandom } from './random.ts';
import { halfFluxDiameterPx, halfPeakFwhmPx, type Grid } from './widths.ts';

/** The shape of a star: a round profile squeezed to an ellipse of the same area. */
export interface AnalyticProfile {
  profile: ProfileName;
  /** Exponent of a Moffat profile (default 3.5). */
  beta?: number;
  /** 2 sqrt(A / pi), A the area inside the half-peak contour BEFORE integration over the pixel. */
  fwhmPx: number;
  /** Major over minor axis, >= 1 (default 1). */
  axisRatio?: number;
  /** Direction of the major axis, from +x towards +y. */
  angleDeg?: number;
}

export interface AnalyticScene extends AnalyticProfile {
  widthPx: number;
  heightPx: number;
  /** Total flux in electrons; over a mosaic that of an unfiltered sensor, times the share of each filter. */
  stars: { xPx: number; yPx: number; fluxElectrons: number }[];
  skyElectrons: number;
  readNoiseElectrons: number;
  gainElectronsPerAdu: number;
  offsetAdu: number;
  mosaic?: MosaicName | null;
  /** What each filter lets through, of stars and sky alike (default R 0.6, G 1, B 0.5). */
  filters?: { R: number; G: number; B: number };
  seed: number;
}

const FILTERS = { R: 0.6, G: 1, B: 0.5 };

/** A frame of equal analytic stars with photon and read noise, rounded to whole ADU and clipped to 16 bit. */
export function analyticFrame(scene: AnalyticScene): {
  pixels: Uint16Array;
  widthPx: number;
  heightPx: number;
} {
  const { widthPx, heightPx } = scene;
  const electrons = analyticElectrons(scene);
  const random = createRandom(scene.seed);
  const pixels = new Uint16Array(electrons.length);
  for (let i = 0; i < pixels.length; i++) {
    const collected = random.poisson(electrons[i]) + scene.readNoiseElectrons * random.normal();
    const adu = Math.round(scene.offsetAdu + collected / scene.gainElectronsPerAdu);
    pixels[i] = Math.min(65535, Math.max(0, adu));
  }
  return { pixels, widthPx, heightPx };
}

/** The expectation of that frame, in electrons without offset: sky and stars, no noise. Row by row. */
export function analyticElectrons(scene: AnalyticScene): Float64Array {
  const { widthPx, heightPx, mosaic = null, filters = FILTERS } = scene;
  const through = (channel: Channel) => (channel === 'mono' ? 1 : filters[channel]);
  const electrons = new Float64Array(widthPx * heightPx);
  for (let y = 0, i = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++, i++)
      electrons[i] = scene.skyElectrons * through(channelAt(mosaic, x, y));

  const noise = Math.sqrt(scene.skyElectrons + scene.readNoiseElectrons ** 2);
  for (const star of scene.stars) {
    const reach = reachPx(scene, star.fluxElectrons, noise);
    const x0 = Math.max(0, Math.ceil(star.xPx - reach));
    const x1 = Math.min(widthPx - 1, Math.floor(star.xPx + reach));
    const y0 = Math.max(0, Math.ceil(star.yPx - reach));
    const y1 = Math.min(heightPx - 1, Math.floor(star.yPx + reach));
    const share = pixelShare(scene);
    for (let y = y0; y <= y1; y++)
      for (let x = x0; x <= x1; x++)
        electrons[y * widthPx + x] +=
          star.fluxElectrons * through(channelAt(mosaic, x, y)) * share(x - star.xPx, y - star.yPx);
  }
  return electrons;
}

/**
 * The widths that a measurement should find: as seen through the pixel. `hfdPx` counts the light of all of the plane,
 * the wings of a Kolmogorov or Moffat star included.
 */
export function widthsThroughPixel(shape: AnalyticProfile): { fwhmPx: number; hfdPx: number } {
  const share = pixelShare(shape);
  const longest = shape.fwhmPx * Math.sqrt(shape.axisRatio ?? 1) + 1;
  const half = 150;
  const stepPx = (2.2 * longest) / half;
  const side = 2 * half + 1;
  const grid: Grid = { values: new Float64Array(side * side), side, stepPx };
  for (let y = 0, i = 0; y < side; y++)
    for (let x = 0; x < side; x++, i++) grid.values[i] = share((x - half) * stepPx, (y - half) * stepPx);
  return { fwhmPx: halfPeakFwhmPx(grid), hfdPx: halfFluxDiameterPx(grid, 1 / stepPx ** 2) };
}

/** The part of a star's flux that falls into the unit pixel centred at (dx, dy) from it. */
function pixelShare(shape: AnalyticProfile): (dxPx: number, dyPx: number) => number {
  const { fwhmPx, axisRatio = 1, angleDeg = 0 } = shape;
  const profile = radialProfile(shape.profile, shape.beta);
  const c = Math.cos((angleDeg * Math.PI) / 180);
  const s = Math.sin((angleDeg * Math.PI) / 180);
  const along = 1 / (fwhmPx * Math.sqrt(axisRatio));
  const across = Math.sqrt(axisRatio) / fwhmPx;
  const nearPx = 3 * fwhmPx * Math.sqrt(axisRatio);
  return (dx, dy) => {
    const rule = Math.abs(dx) < nearPx && Math.abs(dy) < nearPx ? FINE : COARSE;
    let sum = 0;
    for (const { at: py, weight: wy } of rule) {
      for (const { at: px, weight: wx } of rule) {
        const x = dx + px;
        const y = dy + py;
        const a = (c * x + s * y) * along;
        const b = (c * y - s * x) * across;
        sum += wx * wy * profile(a * a + b * b);
      }
    }
    return sum / (fwhmPx * fwhmPx);
  };
}

/** How far a star's light is drawn: to a fiftieth of the noise of one pixel (or of one electron where it is less). */
function reachPx(shape: AnalyticProfile, fluxElectrons: number, noiseElectrons: number): number {
  const profile = radialProfile(shape.profile, shape.beta);
  const faint = 0.02 * Math.max(1, noiseElectrons);
  let r = 4;
  while (r < 60 && (fluxElectrons * profile(r * r)) / shape.fwhmPx ** 2 > faint) r *= 1.1;
  return r * shape.fwhmPx * Math.sqrt(shape.axisRatio ?? 1) + 1;
}

/** Gauss-Legendre rules over a pixel, from the middle: six points a side in the core, two in the wings. */
const legendre = (pairs: [at: number, weight: number][]) =>
  pairs.flatMap(([at, weight]) => [
    { at: at / 2, weight: weight / 2 },
    { at: -at / 2, weight: weight / 2 },
  ]);
const FINE = legendre([
  [0.2386191860831969, 0.467913934572691],
  [0.6612093864662645, 0.3607615730481386],
  [0.932469514203152, 0.1713244923791704],
]);
const COARSE = legendre([[0.5773502691896257, 1]]);
