import { momentsOf, profileFlux, seenProfile, setProfile, subtractProfile, type Profile } from './profile.ts';
import { MAX_RINGS, type Workspace } from './workspace.ts';

/** What rings about a star's centre tell that a smooth profile does not. */
export interface Growth {
  /** Light above the profile's base in the aperture plus the profile's share beyond it and the halo, stored units. */
  flux: number;
  hfdPx: number;
  /** Per-axis rms radius of the light within 3.3 half-light radii. */
  rmsPx: number;
  /** Surface brightness of the middle over that of the brightest ring: below 1 for a defocused ring. */
  middleOverRing: number;
  /** Mean brightness in the outermost rings above the profile's base, stored units; see Edge. */
  outerLevel: number;
  outerPixels: number;
  /** Of the residual light about the profile's centre, stored units times px. */
  dipole: [number, number];
  /** Share of the aperture's pixels that were seen. */
  seenShare: number;
  /** Variance of the aperture's light over that of one pixel of the sky: each ring stands for its area by what is seen of it. */
  spreadArea: number;
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
  /** Sky about the frame's stars less that of the mesh, in units of the sky's noise. */
  skyOffset: number;
  /** Light of a star at the edge of its aperture (edgeRing) over its height. */
  edgePerHeight: number;
}

export const NO_HALO: Halo = { shares: new Float64Array(0), sigma: 0, skyOffset: 0, edgePerHeight: 0 };

/** The first of the outermost rings, which stand for the surroundings of a star. */
export const edgeRing = (rings: number): number => Math.ceil(0.85 * rings);
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

/** What of a halo lies beyond r pixels, for stars whose pixels up to there are counted one by one. */
export function haloBeyond(halo: Halo, r: number): Halo {
  const inner = haloWithin(halo, r);
  const far = (share: number, ring: number) => (ring < r * RINGS_PER_PX ? 0 : share - inner);
  return { ...halo, shares: halo.shares.map(far) };
}

/** Sums over rings about a profile's centre; see kernels/growth.ts. Views into the workspace, good until the next call. */
export interface Rings {
  residual: Float64Array;
  pixels: Float64Array;
  data: Float64Array;
  /** Weighted residual: dipole x, y; <|z|² z> x, y; <z³> x, y; then the plain dipole x, y. */
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

/** Second moments reach out to so many half-light radii: 99.9 % of a Gaussian's light; beyond it they are the sky's. */
const MOMENT_RADII = 3.3;

/** Per-axis rms radius of the light within a circle, from rings of values above a base that lies `above` the sky. */
function rmsWithin(pixels: Float64Array, data: Float64Array, reachPx: number, above: number): number {
  const edge = reachPx * RINGS_PER_PX;
  let [light, second] = [0, 0];
  for (let ring = 0; ring < edge; ring++) {
    if (!(pixels[ring] > 0)) continue;
    const outer = Math.min(ring + 1, edge);
    const inRing = (data[ring] / pixels[ring] + above) * (outer ** 2 - ring ** 2);
    light += inRing;
    // Mean of r² over an even ring.
    second += (inRing * (outer ** 2 + ring ** 2)) / 2;
  }
  return Math.sqrt(Math.max(second / light / 2, 0)) / RINGS_PER_PX;
}

export interface GrowthSettings {
  /** None without it. */
  halo?: Halo;
  /** What of it lies beyond the aperture: all that is left of it where light is counted above the sky. */
  beyond?: Halo;
  /** The sky under the star by what lies at the edge of its aperture; the profile's base without it. */
  skyUnder?: (edge: Edge) => SkyUnder;
}
export interface SkyUnder {
  /** Stored units above the mesh. */
  level: number;
  /** 1: light is counted above it; 0: above the profile's base, with the halo that the base took from the frame's usual star. */
  trust: number;
}

/** The outermost rings of an aperture: brightness above the profile's base, stored units, and how many pixels told it. */
export type Edge = Pick<Growth, 'outerLevel' | 'outerPixels'>;

/**
 * Half-flux diameter, total light and third moments. The profile carries the smooth part in closed form, the residuals
 * of the pixels carry the rest: so masks, mosaics and coarse sampling cost no accuracy where the profile fits, and a
 * ring or a comet is described all the same. With `useProfile` false the pixels alone count.
 * A ring's residual is the mean of its pixels times its area, so that masked pixels are made good.
 * Light of bright stars is counted above the sky, not above the profile's base: stars of one frame share the exponent of their
 * wings, and the base makes good what that is wrong by, so above it a star wider than the others comes out too wide (by 5 % at
 * one and a half times their width), a narrower one too narrow.
 */
export function measureGrowth(
  space: Workspace,
  count: number,
  profile: Profile,
  radiusPx: number,
  useProfile: boolean,
  { halo = NO_HALO, beyond = halo, skyUnder }: GrowthSettings = {},
): Growth {
  const used = useProfile ? profile : { ...profile, amplitude: 0 };
  const seen = seenProfile(space, used);
  const det = seen.a * seen.b - seen.c ** 2;
  const { xx: wxx, yy: wyy, xy: wxy } = momentsOf(seen);
  const rings = Math.min(MAX_RINGS, Math.floor(radiusPx * RINGS_PER_PX));
  const { residual, pixels, data, moments } = ringsOf(space, count, used, rings, seen);

  const { inside } = space.view;
  inside[0] = 0;
  let brightest = -Infinity;
  let outerData = 0;
  let outerPixels = 0;
  let allPixels = 0;
  let spreadArea = 0;
  for (let ring = 0; ring < rings; ring++) {
    const inner = ring / RINGS_PER_PX;
    const outer = (ring + 1) / RINGS_PER_PX;
    const area = Math.PI * (outer ** 2 - inner ** 2);
    const extra = pixels[ring] > 0 ? (residual[ring] / pixels[ring]) * area : 0;
    inside[ring + 1] = inside[ring] + extra;
    if (ring >= edgeRing(rings)) {
      outerData += data[ring];
      outerPixels += pixels[ring];
    }
    if (pixels[ring] > 0) {
      const brightness = data[ring] / pixels[ring];
      brightest = Math.max(brightest, ring >= 1 ? brightness : -Infinity);
      spreadArea += area ** 2 / pixels[ring];
    }
    allPixels += pixels[ring];
  }
  const edge = { outerLevel: outerData / Math.max(outerPixels, 1), outerPixels };
  const { level, trust } = skyUnder?.(edge) ?? { level: profile.base, trust: 1 };
  const above = profile.base - level;
  const aboveBase = inside[rings];
  for (let ring = 1; ring <= rings; ring++)
    inside[ring] += trust * above * Math.PI * (ring / RINGS_PER_PX) ** 2;
  const shares = space.view.halo;
  const haloRings = halo.shares.length;
  for (let ring = 0; ring < haloRings; ring++)
    shares[ring] = trust * beyond.shares[ring] + (1 - trust) * halo.shares[ring];
  const ofProfile = useProfile ? profileFlux(seen.amplitude, det, seen) : 0;
  const inAperture = inside[rings] + ofProfile;
  const flux = (aboveBase + ofProfile) * (1 + haloWithin(halo, Infinity));
  const all = inAperture * (1 + (haloRings > 0 ? shares[haloRings - 1] : 0));
  const { run } = space.kernels;
  setProfile(space.view.params, seen.amplitude, 0, seen.dx, seen.dy, seen.a, seen.b, seen.c, seen);
  const halfLightRadiusPx = run.halfLightRadius(
    space.params,
    seen.k,
    space.inside,
    rings,
    RINGS_PER_PX,
    space.halo,
    haloRings,
    inAperture,
    all / 2,
  );
  const reachPx = Math.min(rings / RINGS_PER_PX, MOMENT_RADII * halfLightRadiusPx);

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
    rmsPx: rmsWithin(pixels, data, reachPx, above),
    middleOverRing: middle / brightest,
    ...edge,
    dipole: [moments[6], moments[7]],
    seenShare: allPixels / (Math.PI * (rings / RINGS_PER_PX) ** 2),
    spreadArea,
    comet: [cometX / cube, cometY / cube],
    clover: [moments[4] / cube, moments[5] / cube],
  };
}
