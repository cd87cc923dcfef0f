import { haloWithin, RINGS_PER_PX, type Growth, type Halo } from './growth.ts';
import { profileFlux, setProfile, type PixelNoise, type Profile } from './profile.ts';
import type { Workspace } from './workspace.ts';

/** A star's half-flux diameter by its fitted profile, and by how much its pixels say otherwise. */
export interface HalfLight {
  /** Half-flux diameter of the profile with the frame's halo. */
  profilePx: number;
  /** Variance of its logarithm by the pixels' noise. */
  profileVariance: number;
  /** Logarithm of the diameter counted from the pixels over the profile's. */
  misfit: number;
  /** Its variance by the pixels' noise, which is independent of the profile's. */
  misfitVariance: number;
  /**
   * Variance of the photons in its middle over that of the sky: what a fit weighs, and so how far out it looks and what it
   * makes of a light that is no such profile.
   */
  photons: number;
}

/** Step of a numerical slope, relative to the radius. */
const STEP = 0.05;

/**
 * What a fitted star's profile and its pixels say of its half-flux diameter H. To first order in the residuals r of the
 * fit, ln H = ln P + sum(c r) / s with P the profile's own, c = 1/2 outside of the circle and -1/2 inside it, and
 * s = dF / d ln R the light on its edge. A maximum-likelihood fit is not correlated with what it leaves (Rao 1973, Linear
 * Statistical Inference, 5a.2), whose covariance is V - J C J' (V the pixels' noise, J the slopes of the model, C the fit's
 * covariance); of J' c the light, the background and the width count, for the place moves a centred circle in second order
 * alone. `seen`: the profile as seenProfile gives it, with `scaleVariance` of its relative width.
 * `baseVariance`: of the background where the diameter was counted from the pixels alone, without the profile.
 */
export function halfLightOf(
  space: Workspace,
  seen: Profile,
  scaleVariance: number,
  { hfdPx, flux, spreadArea, seenShare }: Growth,
  radiusPx: number,
  halo: Halo,
  noise: PixelNoise,
  baseVariance: number | null,
): HalfLight | null {
  const { run } = space.kernels;
  const rings = Math.floor(radiusPx * RINGS_PER_PX);
  setProfile(space.view.params, seen.amplitude, 0, seen.dx, seen.dy, seen.a, seen.b, seen.c, seen);
  space.view.halo.set(halo.shares);
  const light = profileFlux(seen.amplitude, seen.a * seen.b - seen.c ** 2, seen);
  const halfOfAll = (light * (1 + haloWithin(halo, Infinity))) / 2;
  const radius = run.halfLightRadius(
    space.params,
    seen.k,
    space.nothing,
    rings,
    RINGS_PER_PX,
    space.halo,
    halo.shares.length,
    light,
    halfOfAll,
  );
  const within = (r: number) => run.lightWithin(space.params, seen.k, r);
  const onEdge = (r: number) => (within(r * (1 + STEP)) - within(r * (1 - STEP))) / (2 * STEP);
  const inside = within(radius);
  const edge = onEdge(radius);
  const all = within(radiusPx);
  const counted =
    (noise.skyVariance * spreadArea + (noise.unitsPerElectron * Math.max(flux, 0)) / seenShare) / 4;
  const area = Math.PI * (radiusPx ** 2 / 2 - radius ** 2);
  const { amplitude, base, amplitudeBase, amplitudeScale, baseScale } = seen.errors;
  let known = scaleVariance * edge ** 2;
  if (baseVariance === null) {
    const ofLight = (all / 2 - inside) / seen.amplitude;
    const ofScale = all - 2 * inside + edge - onEdge(radiusPx) / 2;
    known =
      ofLight ** 2 * amplitude +
      area ** 2 * base +
      ofScale ** 2 * scaleVariance +
      2 * (ofLight * area * amplitudeBase + ofLight * ofScale * amplitudeScale + area * ofScale * baseScale);
  } else known -= area ** 2 * baseVariance;
  const profilePx = 2 * radius;
  const photons = (noise.unitsPerElectron * seen.amplitude) / noise.skyVariance;
  const misfit = Math.log(hfdPx / profilePx);
  const misfitVariance = Math.max(counted - known, 0) / edge ** 2;
  if (!Number.isFinite(misfit) || !Number.isFinite(misfitVariance)) return null;
  return { profilePx, profileVariance: scaleVariance, misfit, misfitVariance, photons };
}
