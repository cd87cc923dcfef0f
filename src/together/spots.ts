import { BUDGET_PARTS, type BudgetPart, type BudgetPlace } from '../../workers/protocol/report.ts';
import type { FrameOfSeveral, TogetherReport } from '../../workers/protocol/together.ts';

/** Parts that are no work of the optics, or no parts at all. */
const NOT_OPTICS: readonly BudgetPart[] = [
  'roundBlur',
  'diffraction',
  'pixel',
  'trailing',
  'rotation',
  'dispersion',
  'total',
];
const PLACES: { where: BudgetPlace; x: number; y: number }[] = [
  { where: 'centre', x: 0, y: 0 },
  { where: 'c0r0', x: -1, y: -1 },
  { where: 'c1r0', x: 1, y: -1 },
  { where: 'c0r1', x: -1, y: 1 },
  { where: 'c1r1', x: 1, y: 1 },
];
const FWHM_PER_SIGMA = 2.3548;

/** Width that the optics alone would give at the centre (0, 0) and in the corners (-1 or 1 each way). */
export const opticsSpots = ({ budget }: TogetherReport): { x: number; y: number; fwhmPx: number }[] =>
  PLACES.map(({ where, x, y }) => {
    const variances = budget.find((entry) => entry.where === where)!.variancePx2;
    const sum = BUDGET_PARTS.filter((part) => !NOT_OPTICS.includes(part)).reduce(
      (total, part) => total + variances[part],
      0,
    );
    return { x, y, fwhmPx: FWHM_PER_SIGMA * Math.sqrt(Math.max(sum, 0)) };
  });

/** What a frame has for itself: round blur, and a trail along an axis (0 where the mount stood still). */
export function ownMark({ together }: FrameOfSeveral): { blurPx: number; trailPx: number; angleDeg: number } {
  const { roundBlurFwhmPx, motion } = together!.model!;
  return {
    blurPx: roundBlurFwhmPx?.value ?? 0,
    trailPx: motion.path === 'none' ? 0 : (motion.lengthPx?.value ?? 0),
    angleDeg: motion.angleDeg?.value ?? 0,
  };
}

const SPOT_ROOM = 62;
const MARK_ROOM = 76;

/** Screen pixels for a pixel of the frame, so that the largest of all drawings has room: one scale for all of them. */
export function drawnPerPx(report: TogetherReport): number {
  const widest = Math.max(...opticsSpots(report).map(({ fwhmPx }) => fwhmPx), 0.1);
  const longest = Math.max(
    ...report.frames
      .filter(({ together }) => together)
      .map(ownMark)
      .map(({ blurPx, trailPx }) => blurPx + trailPx),
    0.1,
  );
  return Math.min(SPOT_ROOM / widest, MARK_ROOM / longest);
}
