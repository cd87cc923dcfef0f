import type { Estimate, FrameReport } from '../../workers/protocol/report.ts';
import { sizeOf, type Size } from '../story/comparison.ts';
import { quantitiesOf, type Quantity } from './quantities.ts';
import { chanceOf, holm } from './significance.ts';

export type Judgement = 'better' | 'worse' | 'same' | 'unknown';

/** One quantity of two frames; lengths of both in pixels of the later one. */
export interface Difference extends Omit<Quantity, 'estimate' | 'least'> {
  before: Estimate | null;
  after: Estimate | null;
  /** After minus before. */
  change: Estimate | null;
  judgement: Judgement;
  /** The fit dropped it from that frame: whatever is left is too small to be told. */
  unseen: { before: boolean; after: boolean };
}

export interface Beside {
  size: Size;
  differences: Difference[];
  /** Of the size of the stars as a whole. */
  judgement: Judgement | 'mixed';
  /** How the coma centre moved, mm, where it did so beyond doubt. */
  comaMovedMm: { x: number; y: number; sigma: number } | null;
  cautions: Caution[];
}

/** Why a comparison may mislead. */
export type Caution =
  'scaled' | 'other-scale' | 'other-exposure' | 'unexplained' | 'tilt-sign' | 'other-order' | 'one-each';

/**
 * A cause that the fit left out could hide up to sqrt(12) standard errors: it is dropped when that costs less than 12 in
 * chi squared. Taken as nothing with half of that as its error. That frame's own standard error is not told; it is taken
 * from the other frame, larger with the square of the size of the stars: in wide stars a small part is lost (rough).
 */
const HIDDEN = Math.sqrt(12) / 2;

/** The later frame against the earlier one; `startTimes` are those of their exposures (ISO 8601), where files tell. */
export function setBeside(
  before: FrameReport,
  after: FrameReport,
  startTimes: { before: string | null; after: string | null } = { before: null, after: null },
): Beside {
  const size = sizeOf(after);
  const scaling = scalingOf(before, after);
  const [first, second] = [quantitiesOf(before, size), quantitiesOf(after, size)];
  const sizeOfCorners = (quantities: Quantity[]) =>
    quantities.find(({ key }) => key === 'corners')?.estimate?.value ?? NaN;
  const widening = (sizeOfCorners(first) * (scaling.factor ?? 1)) / sizeOfCorners(second) || 1;
  const rows = second.map((quantity) => {
    const earlier = first.find(({ key }) => key === quantity.key)!;
    return raw(quantity, earlier, quantity.unit === 'px' ? scaling.factor : 1, widening);
  });
  const told = rows.filter((row) => isTold(row));
  const counts = holm(told.map(({ change }) => (change ? chanceOf(change.value / change.sigma) : null)));
  const differences = told.map(({ least, ...row }, i): Difference => ({
    ...row,
    judgement: judge(row.change, counts[i], least),
  }));
  return {
    size,
    differences,
    judgement: overall(differences),
    comaMovedMm: comaMove(before, after),
    cautions: [
      ...(scaling.caution ? [scaling.caution] : []),
      ...(inOrder(startTimes) ? [] : (['other-order'] as const)),
      ...cautionsOf(before, after),
    ],
  };
}

type Raw = Omit<Difference, 'judgement'> & { least: number };

/** `widening`: how many times as wide as in the later frame the stars were. */
function raw(
  { estimate: after, ...quantity }: Quantity,
  earlier: Quantity,
  factor: number | null,
  widening: number,
): Raw {
  const scaled =
    earlier.estimate && factor !== null
      ? { value: earlier.estimate.value * factor, sigma: earlier.estimate.sigma * factor }
      : null;
  const known = factor === null ? null : after;
  const dropped = (estimate: Estimate | null) =>
    quantity.group !== 'size' && quantity.group !== 'shape' && estimate?.value === 0;
  const unseen = { before: dropped(scaled), after: dropped(known) };
  const [b, a] = [
    unseen.before && known ? { value: 0, sigma: HIDDEN * known.sigma * Math.max(1, widening) ** 2 } : scaled,
    unseen.after && scaled
      ? { value: 0, sigma: HIDDEN * scaled.sigma * Math.max(1, 1 / widening) ** 2 }
      : known,
  ];
  const sigma = b && a ? Math.hypot(b.sigma, a.sigma) : 0;
  const change = b && a && sigma > 0 ? { value: a.value - b.value, sigma } : null;
  return { ...quantity, before: b, after: a, change, unseen };
}

/** Causes that neither frame shows say nothing; the rest is told even where it cannot be compared. */
function isTold({ group, before, after }: Raw): boolean {
  if (!before && !after) return false;
  if (group !== 'cause') return true;
  const shows = (estimate: Estimate | null) => estimate !== null && estimate.value > 3 * estimate.sigma;
  return shows(before) || shows(after);
}

function judge(change: Estimate | null, counts: boolean, least: number): Judgement {
  if (!change) return 'unknown';
  if (!counts || Math.abs(change.value) < least) return 'same';
  return change.value < 0 ? 'better' : 'worse';
}

/** By the size in centre and corners: better in one and worse in the other is mixed. */
function overall(differences: Difference[]): Beside['judgement'] {
  const found = differences
    .filter(({ key }) => key === 'centre' || key === 'corners')
    .map(({ judgement }) => judgement);
  const [better, worse] = [found.includes('better'), found.includes('worse')];
  if (better && worse) return 'mixed';
  if (better) return 'better';
  if (worse) return 'worse';
  return found.includes('same') ? 'same' : 'unknown';
}

/** Two components at once: chi squared of two degrees of freedom, whose chance is exp(-chi²/2) (textbook). */
function comaMove(before: FrameReport, after: FrameReport): Beside['comaMovedMm'] {
  const [b, a] = [before.model?.coma.centreMm, after.model?.coma.centreMm];
  if (!b?.x || !b.y || !a?.x || !a.y) return null;
  // Without an error it was not measured: the fit took it to lie in the middle.
  if (![b.x, b.y, a.x, a.y].every(({ sigma }) => sigma > 0)) return null;
  const [x, y] = [a.x.value - b.x.value, a.y.value - b.y.value];
  const [sx, sy] = [Math.hypot(a.x.sigma, b.x.sigma), Math.hypot(a.y.sigma, b.y.sigma)];
  const chance = Math.exp(-((x / sx) ** 2 + (y / sy) ** 2) / 2);
  const length = Math.hypot(x, y);
  return chance < 0.01 ? { x, y, sigma: Math.hypot(x * sx, y * sy) / length } : null;
}

/** Scales closer than this are the same (common practice, no source: focusing changes a focal length by as much). */
const SAME_SCALE = 0.005;

/** What lengths of the earlier frame are multiplied by; null when they cannot be compared. */
function scalingOf(
  before: FrameReport,
  after: FrameReport,
): { factor: number | null; caution: Caution | null } {
  const [b, a] = [before.frame, after.frame];
  if (b?.arcsecPerPx && a?.arcsecPerPx) {
    const factor = b.arcsecPerPx / a.arcsecPerPx;
    return Math.abs(factor - 1) < SAME_SCALE ? { factor: 1, caution: null } : { factor, caution: 'scaled' };
  }
  const same = b?.widthPx === a?.widthPx && b?.heightPx === a?.heightPx;
  return same ? { factor: 1, caution: null } : { factor: null, caution: 'other-scale' };
}

/** Longer exposures gather more drift and average more of the air. */
const SAME_EXPOSURE = 1.5;

function cautionsOf(before: FrameReport, after: FrameReport): Caution[] {
  const [b, a] = [before.frame?.exposureS, after.frame?.exposureS];
  const exposures = b && a ? Math.max(a / b, b / a) : 1;
  const tilted = (report: FrameReport) => report.model && !report.model.focusSignKnown;
  const found: (Caution | null | false)[] = [
    exposures > SAME_EXPOSURE && 'other-exposure',
    !(before.model && after.model) && 'unexplained',
    before.model && after.model && (tilted(before) || tilted(after)) ? 'tilt-sign' : null,
    'one-each',
  ];
  return found.filter((caution) => !!caution) as Caution[];
}

const inOrder = ({ before, after }: { before: string | null; after: string | null }): boolean =>
  !(before && after) || Date.parse(before) <= Date.parse(after);
