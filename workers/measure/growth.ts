import { lightWithin, profileFlux, seenProfile, type Profile } from './profile.ts';
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
}

export const NO_HALO: Halo = { shares: new Float64Array(0) };

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
  /** Covariance of that weight: the Gaussian with the profile's half-height contour. */
  weight: [xx: number, yy: number, xy: number];
}

export function ringsOf(space: Workspace, count: number, profile: Profile, rings: number): Rings {
  const { run, arena } = space.kernels;
  const seen = seenProfile(space, profile);
  arena
    .f64(space.params, 7)
    .set([profile.amplitude, profile.base, profile.dx, profile.dy, profile.a, profile.b, profile.c]);
  const det = seen.a * seen.b - seen.c ** 2;
  const half = (2 ** profile.k - 1) / profile.k / (2 * Math.LN2);
  const [wxx, wyy, wxy] = [seen.b, seen.a, -seen.c].map((value) => (value * half) / det);
  const sums = space.rings;
  const counts = sums + MAX_RINGS * 8;
  const values = counts + MAX_RINGS * 8;
  run.residualRings(
    space.list,
    space.capacity,
    count,
    space.nodes,
    space.nodeCount,
    profile.k,
    space.params,
    RINGS_PER_PX,
    rings,
    wxx,
    wyy,
    wxy,
    sums,
    counts,
    values,
    space.moments,
  );
  return {
    residual: arena.f64(sums, rings),
    pixels: arena.f64(counts, rings),
    data: arena.f64(values, rings),
    moments: arena.f64(space.moments, 6),
    weight: [wxx, wyy, wxy],
  };
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
  const rings = Math.min(MAX_RINGS, Math.floor(radiusPx * RINGS_PER_PX));
  const { residual, pixels, data, moments, weight } = ringsOf(space, count, used, rings);
  const [wxx, wyy, wxy] = weight;

  const inside = new Float64Array(rings + 1);
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
  const inAperture = inside[rings] + (useProfile ? profileFlux(seen.amplitude, det, seen.k) : 0);
  const flux = inAperture * (1 + haloWithin(halo, Infinity));
  // Between two rings' edges the residual grows with the area.
  const lightIn = (r: number) => {
    const ring = Math.min(Math.floor(r * RINGS_PER_PX), rings - 1);
    const [inner, outer] = [ring / RINGS_PER_PX, (ring + 1) / RINGS_PER_PX];
    const share = (r ** 2 - inner ** 2) / (outer ** 2 - inner ** 2);
    const extra = inside[ring] + share * (inside[ring + 1] - inside[ring]) + inAperture * haloWithin(halo, r);
    return extra + lightWithin(seen, r);
  };
  const hfdPx = 2 * halfLightRadius(lightIn, flux / 2, radiusPx);

  const middlePixels = pixels[0] + (rings > 1 ? pixels[1] : 0);
  const middle = middlePixels > 0 ? (data[0] + (rings > 1 ? data[1] : 0)) / middlePixels : NaN;
  const [dipoleX, dipoleY, rawX, rawY, cloverX, cloverY] = moments;
  // The fit's centre is not the weighted one; a shift d of a Gaussian of covariance W adds (tr(W) d + 2 W d) / 2 of the
  // dipole to <|z|² z>. Without it the comet is blind to where the centre was put.
  const trace = wxx + wyy;
  const cometX = rawX - (trace * dipoleX) / 2 - (wxx * dipoleX + wxy * dipoleY);
  const cometY = rawY - (trace * dipoleY) / 2 - (wxy * dipoleX + wyy * dipoleY);
  // A matched Gaussian weight makes a third moment 2^3 too small (2 for each index) and sees half of the light: the
  // light's own third moment is 16 times the weighted sum over the flux.
  const cube = (Math.sqrt(wxx * wyy - wxy * wxy) ** 1.5 * flux) / 16;
  return {
    flux,
    hfdPx,
    rmsPx: Math.sqrt(Math.max(second / lightIn(radiusPx) / 2, 0)),
    middleOverRing: middle / brightest,
    outerLevel: outerData / Math.max(outerPixels, 1),
    comet: [cometX / cube, cometY / cube],
    clover: [cloverX / cube, cloverY / cube],
  };
}

/** Smallest radius at which `lightIn` reaches `half`: outwards in steps of a ring, then by halving. */
function halfLightRadius(lightIn: (r: number) => number, half: number, mostPx: number): number {
  let outer = 1 / RINGS_PER_PX;
  while (outer < mostPx && lightIn(outer) < half) outer += 1 / RINGS_PER_PX;
  let inner = outer - 1 / RINGS_PER_PX;
  for (let round = 0; round < 10; round++) {
    const middle = (inner + outer) / 2;
    if (lightIn(middle) < half) inner = middle;
    else outer = middle;
  }
  return (inner + outer) / 2;
}
