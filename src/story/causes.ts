import type { FittedField, RemovablePart } from '../../workers/protocol/model.ts';
import { REMOVABLE_PARTS } from '../../workers/protocol/model.ts';
import type { BudgetPart, Cause, CauseEntry, FrameReport } from '../../workers/protocol/report.ts';
import { count } from '../format/quantity.ts';

/** Parts of the blur that a cause of the report stands for: it is judged with all of them together. */
export function partsOf(cause: Cause): RemovablePart[] {
  switch (cause) {
    case 'coma':
    case 'collimation':
      return ['coma', 'collimation'];
    case 'trailing':
    case 'rotation':
      return ['trailing', 'rotation'];
    case 'seeing':
      return ['roundBlur'];
    case 'dispersion':
    case 'clean':
      return [];
    default:
      return [cause];
  }
}

export const isRemovable = (part: BudgetPart): part is RemovablePart =>
  (REMOVABLE_PARTS as readonly BudgetPart[]).includes(part);

/** What to leave out first: the parts of the leading cause; none where the verdict is clean. */
export const leadingParts = ({ verdict }: Pick<FrameReport, 'verdict'>): RemovablePart[] =>
  verdict ? partsOf(verdict.cause) : [];

/** Chi squared beyond which a number says no more than "very many". */
const MOST = 1e5;

/**
 * How much worse the fit is without a cause: the rise of chi squared that its standard errors foretell, and for the
 * leading cause the price of the best other explanation, which was really fitted.
 */
export function evidenceOf(
  { significance }: CauseEntry,
  stars: number,
  nearest: FittedField['rivals'][number] | null,
): string {
  const rise = Math.min(significance ** 2, MOST);
  const words =
    significance < 3
      ? 'The stars hardly ask for it'
      : rise < MOST
        ? `Without it the fit of ${stars} stars would be worse by ${count(rise)} in chi squared`
        : `Without it the fit of ${stars} stars would fall apart`;
  const meaning = significance < 3 ? '' : ' (noise alone makes 1 for each number left out)';
  if (!nearest) return `${words}${meaning}.`;
  const price = Math.min(Math.max(nearest.gap, 0), MOST);
  return `${words}${meaning}. The best other explanation that was tried costs ${
    nearest.atLeast || price === MOST ? 'at least ' : ''
  }${count(price)} more.`;
}
