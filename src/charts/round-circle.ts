import type { RoundMark } from '../stars/round-mark.ts';
import type { FieldFrame } from './field-frame.ts';

/** An arrow that points along +x, its tip at the origin. */
export const ARROW = 'M-26,0H-8M0,0L-11,-6V6Z';

/** The circle inside which coma does not show; where its middle lies off the sensor, an arrow at the border points there. */
export function drawRoundCircle(
  group: FieldFrame['plot'],
  { x, y }: Pick<FieldFrame, 'x' | 'y'>,
  { xPx, yPx, radiusPx, off, exit }: RoundMark,
): void {
  const radius = x(xPx + radiusPx) - x(xPx);
  for (const style of ['round-casing', 'round-circle'])
    group.append('circle').attr('class', style).attr('cx', x(xPx)).attr('cy', y(yPx)).attr('r', radius);
  if (!off) return;
  const degrees = (exit.angleRad * 180) / Math.PI;
  for (const style of ['round-arrow-casing', 'round-arrow'])
    group
      .append('path')
      .attr('class', style)
      .attr('d', ARROW)
      .attr('transform', `translate(${x(exit.xPx)},${y(exit.yPx)}) rotate(${degrees}) translate(-5,0)`);
}
