import type { Sky } from '../background/sky.ts';
import { axes, type Moments } from '../math/shape.ts';
import type { Field } from './field.ts';
import { gainOf, type FrameGain } from './gain.ts';
import { MeanResidual, packResiduals } from './mean-residual.ts';
import { curvatureMask, PLAIN_MASK, skyNoise, type Mask, type NoiseSample } from './pixel-noise.ts';
import { fittedDirections, FITTED } from './profile-slopes.ts';
import { shapeOf, subtractProfile, type Profile } from './profile.ts';
import { fitTarget, gatherTarget, type Target } from './star.ts';
import type { WingForm } from './wing-form.ts';
import type { Workspace } from './workspace.ts';

/** Stars for the gain: fainter ones have no photon noise to speak of, brighter ones show the profile's misfit. */
const SIGNIFICANCE = { least: 15, best: 50 };
const MOST_STARS = 150;

/**
 * What the frame tells of its own gain; `zeroStored` is the stored value of 0 ADU. The noise is taken where light has
 * none of its own, between neighbouring pixels, and pixel by pixel, from what the fitted profiles leave of the stars. What the stars'
 * residuals share is the profile's misfit and is taken out first; each star takes it from the other half of the stars,
 * so that its own noise stays.
 */
export function frameGain(
  space: Workspace,
  field: Field,
  sky: Sky,
  shape: Moments,
  radiusPx: number,
  form: WingForm,
  zeroStored: number,
): FrameGain {
  const { kernels, plane } = space;
  const mark = kernels.arena.mark();
  const fits = field.starsNear(SIGNIFICANCE, MOST_STARS).flatMap((target) => {
    const noise = { skyVariance: target.sigma ** 2, unitsPerElectron: 0 };
    const { profile, gathered } = fitTarget(space, target, { shape }, form, radiusPx, noise);
    if (!profile || gathered.saturated > 0) return [];
    const { flux } = shapeOf(profile);
    const residuals = packResiduals(space, gathered.count, profile, flux, noise, flux ** 2, radiusPx);
    return [{ target, profile, flux, residuals }];
  });
  const { major } = axes(shape);
  const halves = [0, 1].map((half) => {
    const members = fits.filter((_, i) => i % 2 === half).map(({ residuals }) => residuals);
    return new MeanResidual(kernels, members, 3 * major + 1, Math.max(0.35, 0.35 * major));
  });
  kernels.arena.reset(mark);
  const masks = [PLAIN_MASK, curvatureMask(plane.sites)];
  const samples = fits.map(({ target, profile, flux }, i) => {
    const { count } = gatherTarget(space, target, radiusPx);
    subtractProfile(space, count, profile);
    const mean = halves[(i + 1) % 2];
    const misfitAt = (x: number, y: number) => flux * mean.at(x - profile.dx, y - profile.dy);
    return samplesOf(space, count, radiusPx, target, profile, misfitAt, masks);
  });
  const [plain, fine] = masks.map(({ independentShare }, at) => ({
    samples: samples.flatMap((each) => each[at]),
    independentShare,
  }));
  const { level, sigma } = field.sky();
  const bounds = { skyVariance: sigma ** 2, skyLevel: level - zeroStored };
  return gainOf(plain, fine, skyNoise(plane, sky, kernels), bounds);
}

/** A mask of which the fit took more than this has nothing to say. */
const LEAST_KEPT = 0.3;
/** Under less light than this share of the sky's variance one mask tells as much of the sky as another: one in three will do. */
const LIT = 0.2;

/**
 * What each mask says about one star's pixels, over the sky's variance. The fit has taken from the residuals what its
 * parameters can make of the mask: the noise that is left is that of the mask less its projection on them, over all
 * pixels.
 */
function samplesOf(
  space: Workspace,
  count: number,
  radiusPx: number,
  target: Target,
  profile: Profile,
  misfitAt: (x: number, y: number) => number,
  masks: Mask[],
): NoiseSample[][] {
  const half = Math.ceil(radiusPx) + 2;
  const side = 2 * half + 1;
  const pixels: { x: number; y: number; light: number; residual: number }[] = [];
  const indices = new Int32Array(side * side).fill(-1);
  space.eachPixel(count, (value, residual, x, y) => {
    indices[(y + half) * side + x + half] = pixels.length;
    pixels.push({ x, y, light: value - profile.base - residual, residual: residual - misfitAt(x, y) });
  });
  const directions = fittedDirections(pixels, profile, space.rule);
  const variance = target.sigma ** 2;
  const height = profile.amplitude / variance;
  const pattern = new Float64Array(pixels.length);
  return masks.map((mask) => {
    const samples: NoiseSample[] = [];
    pixels.forEach(({ x, y, light }, i) => {
      if (light < LIT * variance && i % 3 > 0) return;
      const taken = new Float64Array(FITTED);
      pattern.fill(0);
      let value = 0;
      for (const { dx, dy, weight } of mask.pixels) {
        const member = indices[(y + dy + half) * side + x + dx + half];
        if (member < 0) return;
        pattern[member] = weight;
        value += weight * pixels[member].residual;
        for (let j = 0; j < FITTED; j++) taken[j] += weight * directions[FITTED * member + j];
      }
      let kept = 0;
      let under = 0;
      pixels.forEach((pixel, at) => {
        let left = pattern[at];
        for (let j = 0; j < FITTED; j++) left -= taken[j] * directions[FITTED * at + j];
        kept += left * left;
        under += left * left * pixel.light;
      });
      if (kept < LEAST_KEPT) return;
      samples.push({ light: under / kept / variance, square: value ** 2 / kept / variance, height });
    });
    return samples;
  });
}
