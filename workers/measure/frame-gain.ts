import { axes, type Moments } from '../math/shape.ts';
import type { Field } from './field.ts';
import { NoiseSamples } from './gain.ts';
import { MeanResidual, packResiduals } from './mean-residual.ts';
import { shapeOf, subtractProfile } from './profile.ts';
import { fitTarget, gatherTarget } from './star.ts';
import type { WingForm } from './wing-form.ts';
import type { Workspace } from './workspace.ts';

/** Stars for the gain: fainter ones have no photon noise to speak of, brighter ones show the profile's misfit. */
const SIGNIFICANCE = { least: 15, best: 50 };
const MOST_STARS = 150;

/**
 * Stored units per electron from the residuals of moderately bright stars. What the stars' residuals share is misfit of
 * the profile, not noise, and is taken out first; each star takes it from the other half of the stars, so that its own
 * noise stays.
 */
export function frameGain(
  space: Workspace,
  field: Field,
  shape: Moments,
  radiusPx: number,
  form: WingForm,
  zeroStored: number,
): number {
  const { arena } = space.kernels;
  const mark = arena.mark();
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
    return new MeanResidual(space.kernels, members, 3 * major + 1, Math.max(0.35, 0.35 * major));
  });
  arena.reset(mark);
  const samples = new NoiseSamples();
  fits.forEach(({ target, profile, flux }, i) => {
    const { count } = gatherTarget(space, target, radiusPx);
    subtractProfile(space, count, profile);
    const pixels: { light: number; residual: number }[] = [];
    space.eachPixel(count, (value, residual, x, y) =>
      pixels.push({
        light: value - profile.base - residual,
        residual: residual - flux * halves[(i + 1) % 2].at(x - profile.dx, y - profile.dy),
      }),
    );
    samples.addStar(pixels, target.sigma ** 2);
  });
  const { level, sigma } = field.sky();
  return samples.unitsPerElectron({ skyVariance: sigma ** 2, skyLevel: level - zeroStored });
}
