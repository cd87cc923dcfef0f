import type { BudgetEntry, BudgetPart, CauseEntry, FrameReport } from '../../workers/protocol/report.ts';
import { isRemovable, partsOf } from './causes.ts';

/** What a part of the blur is: a name a person knows, and its physics in two sentences. */
interface PartWords {
  name: string;
  physics: string;
}

export const PART_WORDS: Record<Exclude<BudgetPart, 'total' | 'cross'>, PartWords> = {
  roundBlur: {
    name: 'Air, tube and shake',
    physics:
      'Turbulence above the site, warm air in the tube and fast trembling spread every star alike, round and the same everywhere. One frame cannot tell the three apart.',
  },
  diffraction: {
    name: 'Diffraction',
    physics:
      'Light bends at the edge of the aperture, so even a perfect star is a small disc. Only a larger aperture ratio makes it smaller.',
  },
  pixel: {
    name: 'The pixel itself',
    physics:
      'Each pixel averages the light over its own square. It matters when stars are only a pixel or two wide.',
  },
  focus: {
    name: 'Focus',
    physics:
      'The sensor lies before or behind the focal surface, so each star is a small disc or ring, the same over the whole field. It grows in proportion to the distance and to the speed of the optics.',
  },
  tilt: {
    name: 'Tilt of the sensor',
    physics:
      'The sensor leans against the focal surface: one side lies before focus, the opposite side behind it. Stars swell in proportion to their distance from the line that is in focus.',
  },
  curvature: {
    name: 'Curved field',
    physics:
      'The optics focus on a bowl and the sensor is flat. Centre and corners cannot be sharp together; the distance grows with the square of the radius.',
  },
  coma: {
    name: 'Coma',
    physics:
      'Rings of the mirror far from its middle image an off-axis star larger and further out, so it grows a tail away from the axis. The tail grows in proportion to the distance from the centre.',
  },
  collimation: {
    name: 'Coma off the middle',
    physics:
      'The same tails, but the place without any lies off the sensor’s middle, or the tail is the same everywhere. Mirrors out of line do that, and so does a camera that sits off the axis.',
  },
  astigmatism: {
    name: 'Astigmatism',
    physics:
      'Two directions of the pupil focus at different distances, so stars become short lines that turn by a right angle through focus. A stressed or poorly figured surface does it everywhere, a design does it towards the corners.',
  },
  pinching: {
    name: 'Three-cornered stars',
    physics:
      'Three clips or screws press a mirror or lens and bend it in three lobes. Stars take three corners, the same over the whole field.',
  },
  spherical: {
    name: 'Spherical aberration',
    physics:
      'The edge of the optics focuses at another distance than the middle, so a faint halo stays about every star. The wrong spacing, or a mirror still cooling, can do it.',
  },
  trailing: {
    name: 'Trailing',
    physics:
      'The stars moved over the sensor while the shutter was open, all by the same path. It repeats from frame to frame only by chance, while what the optics do repeats exactly.',
  },
  rotation: {
    name: 'Rotation of the field',
    physics:
      'The field turned about a point during the exposure, so stars draw arcs that lengthen with the distance from it. The polar axis is off, or the mount turns in altitude and azimuth.',
  },
  dispersion: {
    name: 'Colour of the air',
    physics:
      'The atmosphere bends blue light more than red, so a star low in the sky is a short spectrum pointing to the zenith. Higher up it vanishes.',
  },
};

/** FWHM of a Gaussian over its standard deviation: turns a per-axis variance into a width. */
export const FWHM_PER_SIGMA = 2.3548200450309493;

export interface PartRow {
  part: keyof typeof PART_WORDS;
  name: string;
  physics: string;
  /** Width in px that this part alone would give a star: 2.355 times the root of its variance. */
  centrePx: number;
  cornersPx: number;
  /** What the fit says of it as a cause: null for air, diffraction and the pixel. */
  cause: CauseEntry | null;
  /** Name of the part that the cause bears and with which this one is judged: coma of field and axis, drift and turn. */
  shared: string | null;
}

const LEAST_PX = 0.05;

/** The parts that matter anywhere, largest in the corners first; parts below a twentieth of a pixel are left out. */
export function partRows({ budget, causes }: Pick<FrameReport, 'budget' | 'causes'>): PartRow[] {
  if (!budget) return [];
  const at = (where: BudgetEntry['where']) => budget.find((entry) => entry.where === where)!.variancePx2;
  const [centre, corners] = [at('centre'), at('corners')];
  const widthOf = (variance: number) => FWHM_PER_SIGMA * Math.sqrt(Math.max(variance, 0));
  const parts = Object.keys(PART_WORDS) as (keyof typeof PART_WORDS)[];
  return parts
    .map((part) => {
      const own = causes?.find((entry) => entry.cause === part);
      const twin = causes?.find((entry) => isRemovable(part) && partsOf(entry.cause).includes(part));
      return {
        part,
        ...PART_WORDS[part],
        centrePx: widthOf(centre[part]),
        cornersPx: widthOf(corners[part]),
        cause: own ?? twin ?? null,
        shared: !own && twin ? PART_WORDS[twin.cause as keyof typeof PART_WORDS].name.toLowerCase() : null,
      };
    })
    .filter((row) => Math.max(row.centrePx, row.cornersPx) > LEAST_PX)
    .sort((a, b) => b.cornersPx - a.cornersPx);
}

export interface Finding {
  what: string;
  estimate: { value: number; sigma: number };
  /** 'px' is told in the unit that lengths are told in. */
  unit: string;
}

/** The fitted amounts that are not zero, in words. */
export function findings({ model }: Pick<FrameReport, 'model'>): Finding[] {
  if (!model) return [];
  const rows: [string, { value: number; sigma: number } | null | undefined, string][] = [
    ['Round blur of air, tube and shake (FWHM)', model.roundBlurFwhmPx, 'px'],
    ['Distance from focus', model.focusUm, 'µm'],
    ['Tilt along x', model.tiltUmPerMm.x, 'µm/mm'],
    ['Tilt along y', model.tiltUmPerMm.y, 'µm/mm'],
    ['Curvature of the field', model.curvaturePerM, '1/m'],
    ['Coma (1 = bare paraboloid)', model.coma.strength, ''],
    ['Coma centre, x from the middle', model.coma.centreMm?.x, 'mm'],
    ['Coma centre, y from the middle', model.coma.centreMm?.y, 'mm'],
    ['Astigmatism, upright', model.astigmatismUm.cos, 'µm'],
    ['Astigmatism, diagonal', model.astigmatismUm.sin, 'µm'],
    ['Three lobes, cosine', model.trefoilUm.cos, 'µm'],
    ['Three lobes, sine', model.trefoilUm.sin, 'µm'],
    ['Spherical aberration', model.sphericalUm, 'µm'],
    ['Length of the trail', model.motion.lengthPx, 'px'],
    ['Direction of the trail', model.motion.angleDeg, '°'],
    ['Field rotation', model.rotation.angleDeg, '°'],
  ];
  return rows.flatMap(([what, estimate, unit]) =>
    estimate && (estimate.value !== 0 || estimate.sigma > 0) && Math.abs(estimate.value) > estimate.sigma
      ? [{ what, estimate, unit }]
      : [],
  );
}
