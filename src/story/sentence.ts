import type { Estimate, FrameReport } from '../../workers/protocol/report.ts';
import { excessPercent, plain, shortLength, type LengthUnit, type PixelScale } from '../format/quantity.ts';
import { axisWords, placeName } from '../format/words.ts';
import { compare, leanTogether, type Comparison } from './comparison.ts';

/** Elongations below this are not worth a word to somebody at a telescope (common practice, no source). */
const WORTH_SAYING = 1.04;
const SURE = 3;

/** What was measured, in one or two plain sentences: size first, then shape. Nothing is said that the errors do not carry. */
export function describe(report: FrameReport, unit: LengthUnit, scale: PixelScale): string {
  const comparison = compare(report);
  const length = (px: number) => shortLength(px, unit, scale);
  return `${sizeClause(comparison, report.sensor.fwhmPx, length)}; ${shapeClause(comparison, report)}.`;
}

function sizeClause(c: Comparison, sensor: Estimate | null, length: (px: number) => string): string {
  const { centrePx: centre, cornersPx: corners } = c;
  const size = c.size === 'hfdPx' ? ' (half-flux diameter)' : ' wide';
  if (!centre || !corners) {
    const one = centre ?? sensor;
    if (!one) return 'There are too few stars to tell their width';
    return `Stars are ${length(one.value)} wide; too few lie in ${centre ? 'the corners' : 'the centre'} to compare`;
  }
  const both = `Stars are ${length(centre.value)}${size} in the centre`;
  const change = `${plain(Math.abs(100 * (corners.value / centre.value - 1)), 0)}\u202f%`;
  switch (c.verdict) {
    case 'same':
      return `Stars are ${length(centre.value)}${size}, and the corners match the centre`;
    case 'unsure':
      return `${both}; whether the corners differ cannot be told from so few stars`;
    default:
      return `${both} and ${length(corners.value)} in the corners (${change} ${c.verdict})${worstClause(c, length)}`;
  }
}

const worstClause = (c: Comparison, length: (px: number) => string): string =>
  c.worst ? `, worst at the ${placeName(c.worst)} (${length(c.worst[c.size]!.value)})` : '';

function shapeClause(c: Comparison, report: FrameReport): string {
  const whole = report.sensor.elongation;
  const axis = report.sensor.angleDeg;
  const corners = c.cornersElongation;
  if (!whole) return 'their shape could not be measured';
  if (axis && matters(whole) && leanTogether(report))
    return `all over the frame they are ${longer(whole.value)}, ${axisWords(axis.value)}`;
  if (corners && matters(corners))
    return `corner stars are ${longer(corners.value)}, each corner its own way`;
  return 'nowhere are they longer than wide';
}

const matters = (elongation: Estimate): boolean =>
  elongation.value >= WORTH_SAYING && elongation.value - 1 > SURE * elongation.sigma;

/** Beyond half as long again a factor is easier to picture than a percentage. */
const longer = (elongation: number): string =>
  elongation < 1.5
    ? `${excessPercent(elongation)} longer than wide`
    : `${plain(elongation, 1)} times as long as wide`;
