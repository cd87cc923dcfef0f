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

const RINGS_PER_PX = 2;

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
): Growth {
  const used = useProfile ? profile : { ...profile, amplitude: 0 };
  const seen = seenProfile(space, used);
  const { run, arena } = space.kernels;
  arena.f64(space.params, 7).set([used.amplitude, used.base, used.dx, used.dy, used.a, used.b, used.c]);
  const rings = Math.min(MAX_RINGS, Math.floor(radiusPx * RINGS_PER_PX));
  const det = seen.a * seen.b - seen.c ** 2;
  // Weight of the third moments: the Gaussian with the same half-height contour.
  const half = (2 ** profile.k - 1) / profile.k / (2 * Math.LN2);
  const [wxx, wyy, wxy] = [seen.b, seen.a, -seen.c].map((value) => (value * half) / det);
  run.residualRings(
    space.list,
    space.capacity,
    count,
    space.nodes,
    space.nodeCount,
    profile.k,
    space.params,
    0,
    0,
    RINGS_PER_PX,
    rings,
    wxx,
    wyy,
    wxy,
    space.rings,
    space.rings + MAX_RINGS * 8,
    space.rings + 2 * MAX_RINGS * 8,
    space.moments,
  );
  const residual = arena.f64(space.rings, rings);
  const pixels = arena.f64(space.rings + MAX_RINGS * 8, rings);
  const data = arena.f64(space.rings + 2 * MAX_RINGS * 8, rings);

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
  const flux = inside[rings] + (useProfile ? profileFlux(seen.amplitude, det, seen.k) : 0);
  // Between two rings' edges the residual grows with the area.
  const lightIn = (r: number) => {
    const ring = Math.min(Math.floor(r * RINGS_PER_PX), rings - 1);
    const [inner, outer] = [ring / RINGS_PER_PX, (ring + 1) / RINGS_PER_PX];
    const share = (r ** 2 - inner ** 2) / (outer ** 2 - inner ** 2);
    return inside[ring] + share * (inside[ring + 1] - inside[ring]) + lightWithin(seen, r);
  };
  const hfdPx = 2 * halfLightRadius(lightIn, flux / 2, radiusPx);

  const middlePixels = pixels[0] + (rings > 1 ? pixels[1] : 0);
  const middle = middlePixels > 0 ? (data[0] + (rings > 1 ? data[1] : 0)) / middlePixels : NaN;
  const [dipoleX, dipoleY, rawX, rawY, cloverX, cloverY] = arena.f64(space.moments, 6);
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
