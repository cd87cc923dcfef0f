import type {
  BudgetPart,
  Cause,
  Estimate,
  FrameReport,
  VectorEstimate,
} from '../../workers/protocol/report.ts';
import { placeName } from '../format/words.ts';
import { FWHM_PER_SIGMA, PART_WORDS } from '../story/blur-parts.ts';
import { partsOf } from '../story/causes.ts';
import { centreRegion, cornerRegions, meanOf, type Size } from '../story/comparison.ts';

/**
 * What two frames are compared by. Less is better in every one of them: widths, how much longer than wide, what a cause
 * costs, how far from the middle, how steep.
 */
export interface Quantity {
  key: string;
  name: string;
  group: 'size' | 'shape' | 'cause' | 'lie';
  /** 'px': a length on the sensor, told in the unit of lengths. */
  unit: 'px' | 'µm/mm' | 'mm' | '';
  estimate: Estimate | null;
  /** A smaller difference is no change to somebody at a telescope, however sure (common practice, no source). */
  least: number;
}

/** Width in px that a part alone would give a corner star, with the standard error that its significance stands for. */
function cornerWidth(report: FrameReport, cause: Cause & BudgetPart): Estimate | null {
  const corners = report.budget?.find(({ where }) => where === 'corners')?.variancePx2;
  if (!corners) return null;
  const value = FWHM_PER_SIGMA * Math.sqrt(Math.max(corners[cause], 0));
  // Coma of the field and of the axis are judged as one, as are drift and turn: one entry stands for both.
  const entry =
    report.causes?.find((own) => own.cause === cause) ??
    report.causes?.find((twin) => (partsOf(twin.cause) as string[]).includes(cause));
  const significance = entry?.significance ?? 0;
  return { value, sigma: value / Math.max(significance, 1) };
}

/**
 * Length of a vector with independent errors: sigma² = Σ(v sigma_v)² / |v|² (propagation of errors), never below the
 * smaller component's error where the vector is nearly nothing.
 */
export function lengthOf({ x, y }: VectorEstimate): Estimate | null {
  if (!x || !y) return null;
  const value = Math.hypot(x.value, y.value);
  const sigma = value > 0 ? Math.hypot(x.value * x.sigma, y.value * y.sigma) / value : 0;
  return { value, sigma: Math.max(sigma, Math.min(x.sigma, y.sigma)) };
}

/**
 * What the corners have beyond the centre: sqrt(corner² - centre²), 0 where the corners are the narrower. Round blur
 * adds in squares (exactly so for Gaussians), so this hardly changes with the air. Near nothing the error is the root
 * of the squares' error.
 */
export function beyondCentre(centre: Estimate | null, corners: Estimate | null): Estimate | null {
  if (!centre || !corners) return null;
  const squares = corners.value ** 2 - centre.value ** 2;
  const sigmaOfSquares = 2 * Math.hypot(corners.value * corners.sigma, centre.value * centre.sigma);
  const value = Math.sqrt(Math.max(squares, 0));
  const most = Math.sqrt(sigmaOfSquares);
  return { value, sigma: value > 0 ? Math.min(most, sigmaOfSquares / (2 * value)) : most };
}

const known = (estimate: Estimate | null): Estimate | null =>
  estimate && estimate.sigma > 0 ? estimate : null;

/** Causes whose cost in the corners can be told from the budget; the air is told by its own width. */
const CAUSES = [
  'coma',
  'collimation',
  'focus',
  'tilt',
  'curvature',
  'astigmatism',
  'pinching',
  'spherical',
  'trailing',
  'rotation',
  'dispersion',
] as const satisfies readonly (Cause & BudgetPart)[];

/** Part of a width that somebody would notice. */
const WORTH_SAYING = 0.02;

/** All that can be compared of a frame; `size` says by what the size of its stars is told. */
export function quantitiesOf(report: FrameReport, size: Size): Quantity[] {
  const centre = centreRegion(report);
  const corners = cornerRegions(report);
  const centreSize = centre?.[size] ?? null;
  const cornersSize = meanOf(corners.map((region) => region[size]));
  const least = WORTH_SAYING * (cornersSize?.value ?? centreSize?.value ?? 0);
  const sized = (key: string, name: string, estimate: Estimate | null): Quantity => ({
    key,
    name,
    group: 'size',
    unit: 'px',
    estimate,
    least,
  });
  const shaped = (key: string, name: string, estimate: Estimate | null): Quantity => ({
    ...sized(key, name, estimate),
    group: 'shape',
    unit: '',
    least: WORTH_SAYING,
  });
  const { model } = report;
  return [
    sized('centre', 'Centre', centreSize),
    sized('corners', 'Corners, mean of four', cornersSize),
    sized('beyond', 'Corners beyond the centre', beyondCentre(centreSize, cornersSize)),
    ...corners.map((corner) =>
      sized(`corner-${corner.col}-${corner.row}`, `Corner, ${placeName(corner)}`, corner[size]),
    ),
    shaped('centre-shape', 'Longer than wide, centre', centre?.elongation ?? null),
    shaped('corners-shape', 'Longer than wide, corners', meanOf(corners.map(({ elongation }) => elongation))),
    { ...sized('air', PART_WORDS.roundBlur.name, model?.roundBlurFwhmPx ?? null), group: 'cause' },
    ...CAUSES.map((cause): Quantity => ({
      ...sized(cause, PART_WORDS[cause].name, cornerWidth(report, cause)),
      group: 'cause',
      least: Math.max(least, 0.1),
    })),
    {
      key: 'coma-centre',
      name: 'Coma centre from the middle',
      group: 'lie',
      unit: 'mm',
      // Where the fit left it in the middle it was not measured.
      estimate: known(model?.coma.centreMm ? lengthOf(model.coma.centreMm) : null),
      least: 0.1,
    },
    {
      key: 'slope',
      name: 'Slope of the sensor',
      group: 'lie',
      unit: 'µm/mm',
      estimate: model ? lengthOf(model.tiltUmPerMm) : null,
      least: 0.5,
    },
  ];
}
