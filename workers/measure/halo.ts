import { MEDIAN_OF_NINE, type FreeFit } from './base-prior.ts';
import { HUBER, median, robustSigma } from '../math/robust.ts';
import { edgeRing, NO_HALO, RINGS_PER_PX, ringsOf, type Halo, type Rings } from './growth.ts';
import { profileFlux, type PixelNoise, type Profile } from './profile.ts';
import { fitTarget, type Target, type Typical } from './star.ts';
import type { WingForm } from './wing-form.ts';
import { MAX_RINGS, type Workspace } from './workspace.ts';

const FEWEST_STARS = 5;
/** Standard error of a median over that of a mean, for many Gaussian values: sqrt(pi / 2). */
const MEDIAN_ERROR = 1.2533;

/** The outermost part of the wide aperture tells the sky. */
const SKY_FROM = 0.8;
/**
 * Light of a star there over its height: the air leaves 2e-4 at four and a half widths (Fried 1966, J. Opt. Soc. Am. 56,
 * 1372), optics may add as much, and a profile with too heavy wings takes some away.
 */
const FAR_WING = { usual: 2e-4, sigma: 4e-4 };
/** How far the sky mesh may lie from the sky, in units of its noise: stars' wings lift it, clipping lowers it. */
const MESH_SIGMA = 0.05;
const ROUNDS = 6;

/**
 * The halo of the frame's stars: median over its bright lone stars of the light over the sky in a wide aperture
 * that their fits in the narrow one leave out. A single star's far wings drown in the sky; those of thirty do not. The
 * sky is the mesh's, moved by what all those apertures have at their edge: in a wide aperture a twentieth of
 * the noise more or less is a fifth of a faint star's light.
 */
export function frameHalo(
  wide: Workspace,
  bright: Target[],
  typical: Typical,
  form: WingForm,
  radiusPx: number,
  noiseAt: (target: Target) => PixelNoise,
  free: FreeFit[],
): Halo {
  const rings = Math.min(MAX_RINGS, Math.floor(wide.maxRadiusPx * RINGS_PER_PX));
  const nearRings = Math.floor(radiusPx * RINGS_PER_PX);
  const skyRings = Math.floor(SKY_FROM * rings);
  const looks: (Edge & { light: Float64Array; flux: number; sigma: number; edge: number })[] = [];
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
    const around = ringsOf(wide, far.count, { ...near.profile, base: 0 }, rings);
    const [rest, count] = sumOf(around.residual, around.pixels, skyRings, rings);
    const [edge, edgeCount] = sumOf(around.data, around.pixels, edgeRing(nearRings), nearRings);
    if (count === 0 || edgeCount === 0) continue;
    const all = cumulated(around, rings);
    const { amplitude, a, b, c } = near.profile;
    const { sigma } = target;
    looks.push({
      ...edgeOf(target, near.profile, rest, count),
      light: all.map((light, ring) => light - seen[Math.min(ring, seen.length - 1)]),
      flux: profileFlux(amplitude, a * b - c * c, form),
      sigma,
      edge: edge / edgeCount / sigma,
    });
  }
  if (looks.length < FEWEST_STARS) return NO_HALO;
  const sky = skyOf([...looks, ...edgesOf(wide, free, new Set(bright), skyRings, rings)]);
  const shareOf = ({ light, flux, sigma }: (typeof looks)[number], ring: number) =>
    (light[ring] - sky.offset * sigma * areaWithin(ring)) / flux;
  const last = looks.map((look) => shareOf(look, rings - 1));
  const perOffset = median(looks.map(({ sigma, flux }) => (sigma * areaWithin(rings - 1)) / flux));
  return {
    shares: Float64Array.from({ length: rings }, (_, ring) =>
      median(looks.map((look) => shareOf(look, ring))),
    ),
    sigma: Math.hypot(MEDIAN_ERROR * (robustSigma(last) / Math.sqrt(last.length)), perOffset * sky.sigma),
    skyOffset: sky.offset,
    edgePerHeight: median(looks.map(({ edge, height }) => (edge - sky.offset) / height)),
  };
}

/** What the wide apertures of the middling stars have at their edge. */
function edgesOf(wide: Workspace, free: FreeFit[], known: Set<Target>, from: number, rings: number): Edge[] {
  return free.flatMap(({ target, profile }) => {
    if (known.has(target)) return [];
    const { xPx, yPx, level, sigma, neighbours } = target;
    const { count } = wide.gather(
      Math.round(xPx),
      Math.round(yPx),
      wide.maxRadiusPx,
      level,
      sigma,
      neighbours,
    );
    const { residual, pixels } = ringsOf(wide, count, { ...profile, base: 0 }, rings);
    const [rest, seen] = sumOf(residual, pixels, from, rings);
    return seen > 0 ? [edgeOf(target, profile, rest, seen)] : [];
  });
}

/** Level over the mesh and the star's height, in units of the sky's noise; the level's variance. */
interface Edge {
  level: number;
  height: number;
  variance: number;
}

const edgeOf = (
  { sigma, roughness }: Target,
  { amplitude }: Profile,
  rest: number,
  pixels: number,
): Edge => ({
  level: rest / pixels / sigma,
  height: amplitude / sigma,
  variance: 1 / pixels + (MEDIAN_OF_NINE * (roughness / sigma)) ** 2,
});

/** Sum of a ring's column and of its pixels from one ring to before another. */
function sumOf(values: Float64Array, pixels: Float64Array, from: number, to: number): [number, number] {
  let [sum, count] = [0, 0];
  for (let ring = from; ring < to; ring++) {
    sum += values[ring];
    count += pixels[ring];
  }
  return [sum, count];
}

/** Pixels within the outer edge of a ring. */
const areaWithin = (ring: number): number => Math.PI * ((ring + 1) / RINGS_PER_PX) ** 2;

/**
 * Sky about the stars less that of the mesh, in units of its noise: level = offset + perHeight height by Huber's
 * regression, with what is known of the far wings and of the mesh beforehand, so that stars of one brightness tell it too.
 */
function skyOf(edges: Edge[]): { offset: number; sigma: number } {
  const certainty = MESH_SIGMA ** -2;
  let [offset, perHeight, spread] = [median(edges.map(({ level }) => level)), FAR_WING.usual, 0];
  let error = Infinity;
  for (let round = 0; round < ROUNDS; round++) {
    const prior = 1 / FAR_WING.sigma ** 2;
    const sums = {
      w: certainty,
      x: 0,
      xx: prior,
      y: 0,
      xy: prior * FAR_WING.usual,
    };
    for (const { level, height, variance } of edges) {
      const all = variance + spread + (FAR_WING.sigma * height) ** 2;
      const standard = Math.abs(level - offset - perHeight * height) / Math.sqrt(all);
      const weight = (standard > HUBER ? HUBER / standard : 1) / all;
      sums.w += weight;
      sums.x += weight * height;
      sums.xx += weight * height ** 2;
      sums.y += weight * level;
      sums.xy += weight * height * level;
    }
    const det = sums.w * sums.xx - sums.x ** 2;
    offset = (sums.xx * sums.y - sums.x * sums.xy) / det;
    perHeight = (sums.w * sums.xy - sums.x * sums.y) / det;
    error = Math.sqrt(sums.xx / det);
    const rest = edges.map(({ level, height }) => level - offset - perHeight * height);
    spread = Math.max(0, robustSigma(rest) ** 2 - median(edges.map(({ variance }) => variance)));
  }
  return { offset, sigma: error };
}

/** Residual light within each ring's outer edge: mean of the ring's pixels times its area, so masks are made good. */
function cumulated({ residual, pixels }: Rings, rings: number): Float64Array {
  let sum = 0;
  return residual.slice(0, rings).map((total, ring) => {
    const area = (Math.PI * (2 * ring + 1)) / RINGS_PER_PX ** 2;
    return (sum += pixels[ring] > 0 ? (total / pixels[ring]) * area : 0);
  });
}
