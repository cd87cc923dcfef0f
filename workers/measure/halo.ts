import { median, robustSigma } from '../math/robust.ts';
import { NO_HALO, RINGS_PER_PX, ringsOf, type Halo, type Rings } from './growth.ts';
import { profileFlux, type PixelNoise } from './profile.ts';
import { fitTarget, type Target, type Typical } from './star.ts';
import type { WingForm } from './wing-form.ts';
import { MAX_RINGS, type Workspace } from './workspace.ts';

const FEWEST_STARS = 5;
/** Standard error of a median over that of a mean, for many Gaussian values: sqrt(pi / 2). */
const MEDIAN_ERROR = 1.2533;

/**
 * The halo of the frame's stars: median over its bright lone stars of the light over the sky mesh in a wide aperture
 * that their fits in the narrow one leave out. A single star's far wings drown in the sky; those of thirty do not.
 */
export function frameHalo(
  wide: Workspace,
  bright: Target[],
  typical: Typical,
  form: WingForm,
  radiusPx: number,
  noiseAt: (target: Target) => PixelNoise,
): Halo {
  const rings = Math.min(MAX_RINGS, Math.floor(wide.maxRadiusPx * RINGS_PER_PX));
  const nearRings = Math.floor(radiusPx * RINGS_PER_PX);
  const curves: Float64Array[] = [];
  for (const target of bright) {
    const near = fitTarget(wide, target, typical, form, radiusPx, noiseAt(target));
    if (!near.profile || near.gathered.saturated > 0) continue;
    const seen = cumulated(ringsOf(wide, near.gathered.count, near.profile, nearRings), nearRings);
    const far = wide.gather(
      near.cx,
      near.cy,
      wide.maxRadiusPx,
      target.level,
      target.sigma,
      target.neighbours,
    );
    if (far.outside > 0 || far.saturated > 0) continue;
    const all = cumulated(ringsOf(wide, far.count, { ...near.profile, base: 0 }, rings), rings);
    const { amplitude, a, b, c } = near.profile;
    const flux = profileFlux(amplitude, a * b - c * c, form);
    curves.push(all.map((light, ring) => (light - seen[Math.min(ring, seen.length - 1)]) / flux));
  }
  if (curves.length < FEWEST_STARS) return NO_HALO;
  const last = curves.map((curve) => curve[rings - 1]);
  return {
    shares: Float64Array.from({ length: rings }, (_, ring) => median(curves.map((curve) => curve[ring]))),
    sigma: MEDIAN_ERROR * (robustSigma(last) / Math.sqrt(last.length)),
  };
}

/** Residual light within each ring's outer edge: mean of the ring's pixels times its area, so masks are made good. */
function cumulated({ residual, pixels }: Rings, rings: number): Float64Array {
  let sum = 0;
  return residual.slice(0, rings).map((total, ring) => {
    const area = (Math.PI * (2 * ring + 1)) / RINGS_PER_PX ** 2;
    return (sum += pixels[ring] > 0 ? (total / pixels[ring]) * area : 0);
  });
}
