import type { Estimate } from '../../workers/protocol/report.ts';
import { plain, shortLength, type LengthUnit, type PixelScale } from '../format/quantity.ts';
import { headingWords } from '../format/words.ts';
import type { Beside, Caution, Difference, Judgement } from './beside.ts';

export const JUDGEMENT_WORDS: Record<Judgement, string> = {
  better: 'better',
  worse: 'worse',
  same: 'no real change',
  unknown: 'cannot be compared',
};

/** One sentence: better, worse or no real change, by how much, or what change would have been seen. */
export function headline(beside: Beside, unit: LengthUnit, scale: PixelScale): string {
  const length = (px: number, decimals = 1) => shortLength(px, unit, scale, decimals);
  const told = beside.differences.filter(({ key }) => key === 'centre' || key === 'corners');
  const moved = told.filter(({ judgement }) => judgement === 'better' || judgement === 'worse');
  const clauses = moved.map(
    ({ key, before, after, judgement }) =>
      `the stars in the ${key} ${judgement === 'better' ? 'shrank' : 'grew'} from ${length(before!.value, 2)} to ${length(after!.value, 2)}`,
  );
  switch (beside.judgement) {
    case 'better':
      return `Better: ${clauses.join(', and ')}.`;
    case 'worse':
      return `Worse: ${clauses.join(', and ')}.`;
    case 'mixed':
      return `Better in one place, worse in another: ${clauses.join(', but ')}.`;
    case 'same': {
      const sharpest =
        told.find(({ key, change }) => key === 'corners' && change) ?? told.find((d) => d.change);
      return `No real change in the size of the stars: about ${length(seen(sharpest!.change!), 2)} more or less in the ${sharpest!.key} would have been seen.`;
    }
    default:
      return 'The size of the stars cannot be compared between these two frames.';
  }
}

/** A change seen in four of five cases at 5 %: (1.96 + 0.84) standard errors (textbook, power of a normal test). */
const seen = ({ sigma }: Estimate): number => 2.8 * sigma;

/** What changed beside the size, in plain words, surest first. */
export function changes(beside: Beside, unit: LengthUnit, scale: PixelScale): string[] {
  const length = (px: number) => shortLength(px, unit, scale, 2);
  const tilted = beside.differences.some(
    ({ key, judgement }) => key === 'tilt' && (judgement === 'better' || judgement === 'worse'),
  );
  return beside.differences
    .filter(
      ({ group, judgement }) =>
        (group === 'cause' || group === 'lie') && (judgement === 'better' || judgement === 'worse'),
    )
    .filter(({ key }) => !(key === 'coma-centre' && beside.comaMovedMm) && !(key === 'slope' && tilted))
    .sort((a, b) => surety(b) - surety(a))
    .map((difference) => {
      const { key, name, before, after, unseen, judgement } = difference;
      const better = judgement === 'better';
      if (key === 'air')
        return `${name} blur ${better ? 'less' : 'more'} (${length(before!.value)} → ${length(after!.value)}): that changes centre and corners alike, whatever you turned.`;
      if (key === 'slope')
        return `The sensor leans ${better ? 'less' : 'more'} against the focal surface: ${plain(before!.value, 1)} → ${plain(after!.value, 1)} µm/mm.`;
      if (key === 'coma-centre')
        return `The coma centre came ${better ? 'closer to' : 'farther from'} the middle of the sensor: ${plain(before!.value, 2)} → ${plain(after!.value, 2)} mm.`;
      if (unseen.after) return `${name}: no longer seen; it cost ${length(before!.value)} in the corners.`;
      if (unseen.before) return `${name}: new, ${length(after!.value)} in the corners.`;
      return `${name}: costs the corners ${better ? 'less' : 'more'}, ${length(before!.value)} → ${length(after!.value)}.`;
    })
    .concat(comaWords(beside));
}

const surety = ({ change }: Difference): number => (change ? Math.abs(change.value / change.sigma) : 0);

function comaWords({ comaMovedMm, differences }: Beside): string[] {
  if (!comaMovedMm) return [];
  const { x, y, sigma } = comaMovedMm;
  const heading = headingWords((Math.atan2(y, x) * 180) / Math.PI);
  const now = differences.find(({ key }) => key === 'coma-centre')!.after!;
  return [
    `The coma centre moved ${plain(Math.hypot(x, y), 2)} ± ${plain(sigma, 2)} mm towards ${heading} of the picture and now lies ${plain(now.value, 2)} mm from the middle.`,
  ];
}

export const CAUTION_WORDS: Record<Caution, string> = {
  scaled:
    'The two have different image scales: lengths of the earlier one are converted to pixels of the later one by the angle on the sky.',
  'other-scale':
    'The two have different sizes and one does not tell its image scale, so lengths cannot be compared. Tell pixel size and focal length under File, or in a rig.',
  'other-exposure': 'The exposures differ: a longer one gathers more drift and averages more of the air.',
  unexplained: 'One of the two was not explained by the fit, so causes cannot be compared.',
  'tilt-sign':
    'One frame does not know on which side of focus it is, so the slope of the sensor is compared by its amount alone, without its direction.',
  'other-order': 'By their own clocks the one called "before" was taken later.',
  'one-each':
    'The air changes from frame to frame by several per cent. Corners beyond the centre hardly feel it; for the rest take two or three frames of each before you trust a small difference.',
};
