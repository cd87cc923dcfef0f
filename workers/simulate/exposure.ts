import { exposeSensor } from './detector.ts';
import { addJunk, drawGalaxies, drawStars, drawTrail, randomFor, type Galaxy, type Trail } from './field.ts';
import { channelAt, channelsOf, type Channel } from './mosaic.ts';
import type { Segment } from './motion.ts';
import { createRenderer, type Light, type Renderer } from './render.ts';
import type { Scene, SceneRig, SceneStar } from './scene.ts';

/** One simulated raw frame with what was drawn into it. */
export interface Exposure {
  pixels: Uint16Array;
  widthPx: number;
  heightPx: number;
  /** Stars as drawn; `fluxElectrons` is what reaches the sensor, vignetting taken off, before the filters. */
  stars: SceneStar[];
  galaxies: Galaxy[];
  trail: Trail | null;
}

export function simulateExposure(scene: Scene): Exposure {
  const light = collectLight(scene);
  const pixels = exposeSensor(light.electrons, scene.rig, randomFor(scene, 'noise'));
  const { widthPx, heightPx } = scene.rig;
  return { pixels, widthPx, heightPx, stars: light.stars, galaxies: light.galaxies, trail: light.trail };
}

/** The expectation of every pixel in electrons (no offset), row by row, with the list of what is in it. */
export function collectLight(scene: Scene) {
  const { rig } = scene;
  const random = randomFor(scene, 'junk');
  const electrons = skyLight(scene);
  const renderer = createRenderer(scene);
  // Light below a tenth of the noise of a pixel cannot be told from none.
  const faintest = 0.1 * Math.max(1, Math.sqrt(scene.sky.skyElectronsPerPx + rig.readNoiseElectrons ** 2));
  const stars = drawStars(scene).map((star) => ({
    ...star,
    fluxElectrons: star.fluxElectrons * illumination(rig, star.xPx, star.yPx),
  }));
  for (const star of stars) {
    const reachPx = renderer.reachPx(star.xPx, star.yPx, star.fluxElectrons, faintest);
    addObject(electrons, rig, renderer, star, reachPx, {});
  }
  const galaxies = drawGalaxies(scene, random);
  for (const galaxy of galaxies) {
    const reachPx = 8 * galaxy.effectiveRadiusPx;
    addObject(electrons, rig, renderer, galaxy, reachPx, { shape: discTransfer(galaxy, rig.pixelSizeUm) });
  }
  const trail = scene.disturbances.satellite ? drawTrail(scene, random) : null;
  if (trail) addTrail(electrons, rig, renderer, trail, faintest);
  addJunk(electrons, scene, random);
  return { electrons, stars, galaxies, trail };
}

/** Sky with its gradient, seen through the filters and dimmed like everything else towards the corners. */
function skyLight({ rig, sky, spectrum }: Scene): Float64Array {
  const { widthPx, heightPx, mosaic } = rig;
  const throughput = Object.fromEntries(
    channelsOf(mosaic).map((channel) => [
      channel,
      spectrum.reduce((sum, sample) => sum + sample[channel], 0),
    ]),
  );
  const electrons = new Float64Array(widthPx * heightPx);
  for (let y = 0, i = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++, i++) {
      const rise =
        1 + sky.gradient.x * ((2 * x + 1) / widthPx - 1) + sky.gradient.y * ((2 * y + 1) / heightPx - 1);
      electrons[i] =
        sky.skyElectronsPerPx *
        Math.max(0, rise) *
        illumination(rig, x, y) *
        throughput[channelAt(mosaic, x, y)];
    }
  }
  return electrons;
}

/** Part of the light that passes the tube at a place of the frame: 1 in the centre, 1 - vignetting in the corner. */
export function illumination({ widthPx, heightPx, vignetting }: SceneRig, xPx: number, yPx: number): number {
  const dx = xPx - (widthPx - 1) / 2;
  const dy = yPx - (heightPx - 1) / 2;
  return 1 - (4 * vignetting * (dx * dx + dy * dy)) / (widthPx ** 2 + heightPx ** 2);
}

/** Adds a point (or what `light.shape` makes of it) to the pixels within `reachPx`. */
function addObject(
  electrons: Float64Array,
  rig: SceneRig,
  renderer: Renderer,
  { xPx, yPx, fluxElectrons, colour = 0 }: SceneStar,
  reachPx: number,
  light: Omit<Light, 'channels'>,
): void {
  const x0 = Math.max(0, Math.ceil(xPx - reachPx));
  const x1 = Math.min(rig.widthPx - 1, Math.floor(xPx + reachPx));
  const y0 = Math.max(0, Math.ceil(yPx - reachPx));
  const y1 = Math.min(rig.heightPx - 1, Math.floor(yPx + reachPx));
  if (x0 > x1 || y0 > y1) return;
  const dx = Float64Array.from({ length: x1 - x0 + 1 }, (_, i) => x0 + i - xPx);
  const dy = Float64Array.from({ length: y1 - y0 + 1 }, (_, j) => y0 + j - yPx);
  const channels = channelsOf(rig.mosaic);
  const pictures = renderer.picture(xPx, yPx, dx, dy, { ...light, channels });
  const fluxes = channels.map((channel) => fluxElectrons * tint(channel, colour));
  for (let j = 0, k = 0; j < dy.length; j++) {
    for (let i = 0; i < dx.length; i++, k++) {
      const c = channels.indexOf(channelAt(rig.mosaic, x0 + i, y0 + j));
      // Rounding may leave a far wing a hair below zero.
      electrons[(y0 + j) * rig.widthPx + x0 + i] += Math.max(0, fluxes[c] * pictures[c][k]);
    }
  }
}

const tint = (channel: Channel, colour: number) =>
  channel === 'R' ? 2 ** (colour / 2) : channel === 'B' ? 2 ** (-colour / 2) : 1;

/** Transfer of an inclined exponential disc of scale h = effective radius / 1.678: (1 + (2 pi h f)^2)^(-3/2). */
function discTransfer({ effectiveRadiusPx, axisRatio, angleDeg }: Galaxy, pixelUm: number): Light['shape'] {
  const scaleUm = (effectiveRadiusPx * pixelUm) / 1.678;
  const c = Math.cos((angleDeg * Math.PI) / 180);
  const s = Math.sin((angleDeg * Math.PI) / 180);
  return (fx, fy) => {
    const along = c * fx + s * fy;
    const across = axisRatio * (c * fy - s * fx);
    return (1 + (2 * Math.PI * scaleUm) ** 2 * (along * along + across * across)) ** -1.5;
  };
}

/** A satellite is a star that runs: its line is drawn in short straight pieces, each with the optics of its place. */
function addTrail(
  electrons: Float64Array,
  rig: SceneRig,
  renderer: Renderer,
  { fromPx, toPx, electronsPerPx }: Trail,
  faintest: number,
): void {
  const lengthPx = Math.hypot(toPx[0] - fromPx[0], toPx[1] - fromPx[1]);
  const pieces = Math.ceil(lengthPx / 16);
  const stepPx = [(toPx[0] - fromPx[0]) / pieces, (toPx[1] - fromPx[1]) / pieces];
  const half = { x: (stepPx[0] * rig.pixelSizeUm) / 2, y: (stepPx[1] * rig.pixelSizeUm) / 2 };
  const path: Segment[] = [{ from: { x: -half.x, y: -half.y }, to: half, weight: 1 }];
  const fluxElectrons = (electronsPerPx * lengthPx) / pieces;
  for (let n = 0; n < pieces; n++) {
    const xPx = fromPx[0] + (n + 0.5) * stepPx[0];
    const yPx = fromPx[1] + (n + 0.5) * stepPx[1];
    const reachPx = renderer.reachPx(xPx, yPx, fluxElectrons, faintest, path);
    addObject(electrons, rig, renderer, { xPx, yPx, fluxElectrons }, reachPx, { path });
  }
}
