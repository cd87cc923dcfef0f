import { momentsOf, profileFlux, seenProfile, setProfile, subtractProfile, type Profile } from './profile.ts';
import { MAX_RINGS, type Workspace } from './workspace.ts';

/** What rings about a star's centre tell that a smooth profile does not. */
export interface Growth {
  /** Light in the aperture plus the profile's share beyond it, stored units. */
  flux: number;
  hfdPx: number;
  /** Per-axis rms radius of the light in the aperture. */
  rmsPx: number;
  /** Surface brightness of the middle over that of the brightest ring: below 1 for a defocused ring. */
  middleOverRing: number;
  /** Mean brightness in the outermost rings above the profile's base, stored units. */
  outerLevel: number;
  /** Third central moments over the cube of the rms width of the profile, see protocol/stars.ts. */
  comet: [number, number];
  clover: [number, number];
}

export const RINGS_PER_PX = 2;

/**
 * Light that a star's own fit does not see, as a share of its flux, within each radius: what the free background took
 * of the wings inside the aperture, and what lies beyond it. See halo.ts.
 */
export interface Halo {
  /** Cumulated share at the outer edge of each ring (RINGS_PER_PX to the pixel); constant after the last. */
  shares: Float64Array;
  /** Standard error of the whole share, common to all stars of the frame. */
  sigma: number;
}

export const NO_HALO: Halo = { shares: new Float64Array(0), sigma: 0 };
/** Relative change of a half-light radius with the halo's share: of a Gaussian, half its light over r dF/dr = ln 2 F. */
export const HALO_LEVER = 0.5 / Math.LN2;

/** Share of the halo within r pixels. */
export function haloWithin({ shares }: Halo, r: number): number {
  if (shares.length === 0) return 0;
  const place = r * RINGS_PER_PX;
  const below = Math.floor(place);
  if (below >= shares.length) return shares[shares.length - 1];
  const inner = below === 0 ? 0 : shares[below - 1];
  return inner + (place - below) * (shares[below] - inner);
}

/** Sums over rings about a profile's centre; see kernels/growth.ts. Views into the workspace, good until the next call. */
export interface Rings {
  residual: Float64Array;
  pixels: Float64Array;
  data: Float64Array;
  /** Weighted residual: dipole x, y; <|z|² z> x, y; <z³> x, y. */
  moments: Float64Array;
}

/** `seen` as seenProfile gives it: the weight of the moments is the Gaussian with its half-height contour. */
export function ringsOf(
  space: Workspace,
  count: number,
  profile: Profile,
  rings: number,
  seen = seenProfile(space, profile),
): Rings {
  subtractProfile(space, count, profile);
  const { residual, pixels, data, moments } = space.view;
  const { xx, yy, xy } = momentsOf(seen);
  space.kernels.run.residualRings(
    space.list,
    space.capacity,
    count,
    space.params,
    RINGS_PER_PX,
    rings,
    xx,
    yy,
    xy,
    space.residual,
    space.pixels,
    space.data,
    space.moments,
  );
  return { residual, pixels, data, moments };
}

/**
 * Half-flux diameter, total light and third moments. The profile carries the smooth part in closed form, the residuals
 * of the pixels carry the rest: so masks, mosaics and coarse sampling cost no accuracy where the profile fits, and a
 * ring or a comet is described all the same. With `useProfile` false the pixels alone count.
 * A ring's residual is the mean of its pixels times its area, so that masked pixels are made good.
 */
export function measureGrowth(
  space: Workspace,
  count: number,
  profile: Profile,
  radiusPx: number,
  useProfile: boolean,
  halo: Halo = NO_HALO,
): Growth {
  const used = useProfile ? profile : { ...profile, amplitude: 0 };
  const seen = seenProfile(space, used);
  const det = seen.a * seen.b - seen.c ** 2;
  const { xx: wxx, yy: wyy, xy: wxy } = momentsOf(seen);
  const rings = Math.min(MAX_RINGS, Math.floor(radiusPx * RINGS_PER_PX));
  const { residual, pixels, data, moments } = ringsOf(space, count, used, rings, seen);

  const { inside } = space.view;
  inside[0] = 0;
  let second = 0;
  let brightest = -Infinity;
  let outerData = 0;
  let outerPixels = 0;
  for (let ring = 0; ring < rings; ring++) {
    const inner = ring / RINGS_PER_PX;
    const outer = (ring + 1) / RINGS_PER_PX;
    const area = Math.PI * (outer ** 2 - inner ** 2);
    const extra = pixels[ring] > 0 ? (residual[ring] / pixels[ring]) * area : 0;
    inside[ring + 1] = inside[ring] + extra;
    if (ring >= 0.85 * rings) {
      outerData += data[ring];
      outerPixels += pixels[ring];
    }
    if (pixels[ring] > 0) {
      const brightness = data[ring] / pixels[ring];
      brightest = Math.max(brightest, ring >= 1 ? brightness : -Infinity);
      second += brightness * area * ((inner + outer) / 2) ** 2;
    }
  }
  const inAperture = inside[rings] + (useProfile ? profileFlux(seen.amplitude, det, seen) : 0);
  const flux = inAperture * (1 + haloWithin(halo, Infinity));
  const { run } = space.kernels;
  setProfile(space.view.params, seen.amplitude, 0, seen.dx, seen.dy, seen.a, seen.b, seen.c, seen);
  space.view.halo.set(halo.shares);
  const halfLightRadiusPx = run.halfLightRadius(
    space.params,
    seen.k,
    space.inside,
    rings,
    RINGS_PER_PX,
    space.halo,
    halo.shares.length,
    inAperture,
    flux / 2,
  );
  const inCircle =
    inside[rings] + run.lightWithin(space.params, seen.k, radiusPx) + inAperture * haloWithin(halo, radiusPx);

  const middlePixels = pixels[0] + (rings > 1 ? pixels[1] : 0);
  const middle = middlePixels > 0 ? (data[0] + (rings > 1 ? data[1] : 0)) / middlePixels : NaN;
  const dipoleX = moments[0];
  const dipoleY = moments[1];
  // The fit's centre is not the weighted one; a shift d of a Gaussian of covariance W adds (tr(W) d + 2 W d) / 2 of the
  // dipole to <|z|² z>. Without it the comet is blind to where the centre was put.
  const trace = wxx + wyy;
  const cometX = moments[2] - (trace * dipoleX) / 2 - (wxx * dipoleX + wxy * dipoleY);
  const cometY = moments[3] - (trace * dipoleY) / 2 - (wxy * dipoleX + wyy * dipoleY);
  // A matched Gaussian weight makes a third moment 2^3 too small (2 for each index) and sees half of the light: the
  // light's own third moment is 16 times the weighted sum over the flux.
  const cube = (Math.sqrt(wxx * wyy - wxy * wxy) ** 1.5 * flux) / 16;
  return {
    flux,
    hfdPx: 2 * halfLightRadiusPx,
    rmsPx: Math.sqrt(Math.max(second / inCircle / 2, 0)),
    middleOverRing: middle / brightest,
    outerLevel: outerData / Math.max(outerPixels, 1),
    comet: [cometX / cube, cometY / cube],
    clover: [moments[4] / cube, moments[5] / cube],
  };
}
