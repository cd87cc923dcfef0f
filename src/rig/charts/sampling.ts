import { lightColour } from '../../charts/colour.ts';
import { startDrawing, write } from './drawing.ts';

/** A star of this width as the pixels see it: a Gaussian summed over each pixel, its full width drawn over it. */
export function drawSampling(element: SVGSVGElement, fwhmPx: number, availableWidth: number): void {
  const side = Math.min(31, Math.max(7, 2 * Math.ceil(1.4 * fwhmPx) + 3));
  const size = Math.min(availableWidth, 220);
  const cell = size / side;
  const root = startDrawing(
    element,
    Math.min(availableWidth, 420),
    size + 2,
    `A star ${fwhmPx.toFixed(1)} pixels wide drawn on its pixels`,
  );
  const sigma = fwhmPx / 2.3548;
  // A little beside a pixel's middle, as most stars are.
  const [cx, cy] = [side / 2 + 0.22, side / 2 - 0.16];
  const along = (edge: number, centre: number) =>
    normal((edge + 1 - centre) / sigma) - normal((edge - centre) / sigma);
  const values = Array.from(
    { length: side * side },
    (_, i) => along(i % side, cx) * along(Math.floor(i / side), cy),
  );
  const peak = Math.max(...values);
  values.forEach((value, i) =>
    root
      .append('rect')
      .attr('x', (i % side) * cell)
      .attr('y', Math.floor(i / side) * cell)
      .attr('width', cell - (cell > 6 ? 1 : 0))
      .attr('height', cell - (cell > 6 ? 1 : 0))
      .attr('fill', lightColour(value / peak)),
  );
  root
    .append('circle')
    .attr('class', 'rig-ring')
    .attr('cx', cx * cell)
    .attr('cy', cy * cell)
    .attr('r', (fwhmPx / 2) * cell);
  if (availableWidth > size + 150) {
    write(root, 'Ring: width at half', size + 14, size / 2 - 4);
    write(root, 'the height (FWHM)', size + 14, size / 2 + 14);
  }
}

/** Normal distribution by a hyperbolic tangent: within 4e-4, enough for shades of grey. */
const normal = (z: number): number => 0.5 * (1 + Math.tanh(0.7978845608 * (z + 0.044715 * z ** 3)));
