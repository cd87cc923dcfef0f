import type { Cause, Estimate, Verdict } from '../../workers/protocol/report.ts';
import type { FrameOfSeveral, TogetherReport } from '../../workers/protocol/together.ts';
import { inUnit, plain, shortLength, UNIT_SYMBOL, withError } from '../format/quantity.ts';
import type { LengthUnit, PixelScale } from '../format/quantity.ts';

const NAMES: Record<Cause, string> = {
  clean: 'nothing worth fixing',
  seeing: 'air or shake',
  focus: 'focus',
  tilt: 'a leaning sensor',
  curvature: 'a curved focal surface',
  coma: 'coma',
  collimation: 'coma off the middle',
  astigmatism: 'astigmatism',
  pinching: 'pinched optics',
  spherical: 'spherical aberration',
  trailing: 'movement',
  rotation: 'a turning field',
  dispersion: 'colours spread by the air',
};
export const causeName = (cause: Cause): string => NAMES[cause];

/** "a leaning sensor, 98 % sure"; a verdict that cannot tell says so. */
export const saidWords = ({ cause, confidence }: Verdict): string =>
  `${NAMES[cause]}, ${plain(100 * confidence, 0)} % sure`;

/** What one frame has for itself. */
export function ownWords(
  { together }: FrameOfSeveral,
  unit: LengthUnit,
  scale: PixelScale,
): { blur: string; moved: string } {
  const told = (estimate: Estimate | null) =>
    estimate ? `${withError(inUnit(estimate, unit, scale))} ${UNIT_SYMBOL[unit]}` : 'not known';
  const { motion, roundBlurFwhmPx, rotation } = together!.model!;
  const turned = rotation.angleDeg && rotation.angleDeg.value > 0 && !motion.lengthPx;
  const moved =
    motion.path === 'none'
      ? 'stood still'
      : turned
        ? `turned by ${withError(rotation.angleDeg)}°`
        : `moved by ${told(motion.lengthPx)}`;
  return { blur: `round blur ${told(roundBlurFwhmPx)}`, moved };
}

const SHARES = { least: 0.01, significance: 2 };

/** What all share, as rows of name and number: the causes of the telescope, and how far off the optics are. */
export function sharedRows({ causes, optics }: TogetherReport): { name: string; value: string }[] {
  const rows = causes
    .filter(
      ({ family, cornerShare, significance }) =>
        (family === 'optics' || family === 'focus') &&
        cornerShare.value >= SHARES.least &&
        significance >= SHARES.significance,
    )
    .map(({ cause, cornerShare }) => ({
      name: NAMES[cause],
      value: `${plain(100 * cornerShare.value, 0)} ± ${plain(100 * cornerShare.sigma, 0)} % of the corners’ blur beyond air and pixels`,
    }));
  const { x, y } = optics.tiltUmPerMm;
  const number = (name: string, estimate: Estimate | null, unit: string) => {
    if (estimate && Math.abs(estimate.value) > SHARES.significance * estimate.sigma)
      rows.push({ name, value: `${withError(estimate)} ${unit}` });
  };
  number('Distance from focus', optics.focusUm, 'µm');
  if (x && y) {
    const size = Math.hypot(x.value, y.value);
    const sigma = size > 0 ? Math.hypot(x.value * x.sigma, y.value * y.sigma) / size : 0;
    number('Tilt of the sensor', { value: size, sigma }, 'µm per mm');
  }
  number('Bend of the focal surface', optics.curvaturePerM, 'per m');
  number('Coma of the design', optics.coma.strength, 'of a bare mirror’s');
  return rows;
}

/** Mean widths over the frames, at the centre and in the corners, from variances (FWHM of a Gaussian). */
export function meanWidths({ budget }: TogetherReport, unit: LengthUnit, scale: PixelScale): string {
  const width = (place: string) =>
    shortLength(
      2.3548 * Math.sqrt(budget.find(({ where }) => where === place)?.variancePx2.total ?? 0),
      unit,
      scale,
    );
  return `All of it together: ${width('centre')} at the centre and ${width('corners')} in the corners, mean of the frames.`;
}
