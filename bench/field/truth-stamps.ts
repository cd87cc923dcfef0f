import type { StampSet } from '../../workers/protocol/stamps.ts';
import { illumination } from '../../workers/simulate/exposure.ts';
import { drawStars, randomFor } from '../../workers/simulate/field.ts';
import { channelAt } from '../../workers/simulate/mosaic.ts';
import { createRenderer, renderStar } from '../../workers/simulate/render.ts';
import type { Scene } from '../../workers/simulate/scene.ts';

/**
 * Stamps of the brightest unsaturated stars straight from the scene, without detection: the fit alone is under test.
 * Positions are those drawn, shaken by half a pixel; neighbours within the stamp are drawn and masked.
 */
export function truthStamps(scene: Scene, most: number, largestHalf = 20): StampSet {
  const { rig, sky } = scene;
  const random = randomFor(scene, 'noise');
  const renderer = createRenderer(scene);
  const stars = drawStars(scene)
    .map((star) => ({ ...star, flux: star.fluxElectrons * illumination(rig, star.xPx, star.yPx) }))
    .sort((a, b) => b.flux - a.flux);
  const centre = renderStar(scene, rig.widthPx / 2, rig.heightPx / 2, 61);
  const corner = renderStar(scene, 40, 40, 61);
  const half = Math.max(
    8,
    Math.min(largestHalf, Math.max(reachOf(centre.values, 61), reachOf(corner.values, 61))),
  );
  const side = 2 * half + 1;
  const chosen = [];
  for (const star of stars) {
    if (chosen.length >= most) break;
    const { xPx, yPx } = star;
    if (xPx < half + 1 || yPx < half + 1 || xPx > rig.widthPx - half - 2 || yPx > rig.heightPx - half - 2)
      continue;
    const image = renderStar(scene, xPx, yPx, side, rig.mosaic ? 'G' : 'mono', renderer);
    const peak = Math.max(...image.values) * star.flux;
    if (peak > 0.9 * rig.fullWellElectrons) continue;
    if (
      stars.some((other) => other !== star && other.flux > 0.05 * star.flux && near(star, other, 1.1 * half))
    )
      continue;
    chosen.push({ star, image });
  }
  const count = chosen.length;
  const set: StampSet = {
    count,
    sidePx: side,
    widthPx: rig.widthPx,
    heightPx: rig.heightPx,
    electrons: new Float32Array(count * side * side),
    mask: new Uint8Array(count * side * side).fill(1),
    channel: new Uint8Array(count * side * side),
    backgroundVariance: new Float32Array(count),
    originXPx: new Float64Array(count),
    originYPx: new Float64Array(count),
    xPx: new Float64Array(count),
    yPx: new Float64Array(count),
  };
  chosen.forEach(({ star, image }, s) => {
    set.originXPx[s] = image.originXPx;
    set.originYPx[s] = image.originYPx;
    set.xPx[s] = star.xPx + 0.3 * random.normal();
    set.yPx[s] = star.yPx + 0.3 * random.normal();
    set.backgroundVariance[s] = sky.skyElectronsPerPx + rig.readNoiseElectrons ** 2;
    for (let y = 0; y < side; y++)
      for (let x = 0; x < side; x++) {
        const at = s * side * side + y * side + x;
        const channel = channelAt(rig.mosaic, image.originXPx + x, image.originYPx + y);
        set.channel[at] = { R: 0, G: 1, B: 2, mono: 3 }[channel];
        const expected = star.flux * image.values[y * side + x] + sky.skyElectronsPerPx;
        set.electrons[at] = random.poisson(expected) + rig.readNoiseElectrons * random.normal();
      }
  });
  return set;
}

const near = (a: { xPx: number; yPx: number }, b: { xPx: number; yPx: number }, reach: number) =>
  Math.abs(a.xPx - b.xPx) < reach && Math.abs(a.yPx - b.yPx) < reach;

/** Half side that holds 97 % of what the picture holds, and two pixels more. */
function reachOf(values: Float64Array, side: number): number {
  const middle = side >> 1;
  const total = values.reduce((sum, value) => sum + value, 0);
  for (let half = 4; half < middle; half++) {
    let sum = 0;
    for (let y = middle - half; y <= middle + half; y++)
      for (let x = middle - half; x <= middle + half; x++) sum += values[y * side + x];
    if (sum > 0.95 * total) return half + 2;
  }
  return middle;
}
