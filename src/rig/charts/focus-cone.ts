import { axisBottom, scaleLinear } from 'd3';
import { box, startDrawing, stroke, write } from './drawing.ts';

/** The cone of light through its focus from the side, with the depth of focus as slabs. Widths are enlarged. */
export function drawFocusCone(
  element: SVGSVGElement,
  data: { focalRatio: number; slabs: { halfUm: number; name: string }[] },
  availableWidth: number,
): void {
  const width = Math.min(availableWidth, 620);
  const height = 190;
  const reach = 1.8 * Math.max(...data.slabs.map(({ halfUm }) => halfUm));
  const root = startDrawing(
    element,
    width,
    height,
    `Depth of focus: ${data.slabs.map(({ halfUm, name }) => `${name} ±${halfUm.toFixed(0)} µm`).join(', ')}`,
  );
  const x = scaleLinear([-reach, reach], [16, width - 16]);
  const middle = 74;
  const open = 56;
  const sorted = [...data.slabs].sort((a, b) => b.halfUm - a.halfUm);
  sorted.forEach(({ halfUm, name }, i) => {
    box(
      root,
      i === 0 ? 'rig-band' : 'rig-band inner',
      x(-halfUm),
      18,
      x(halfUm) - x(-halfUm),
      2 * (middle - 18),
    );
    stroke(root, 'rig-mark', `M${x(-halfUm)},18v${2 * (middle - 18)}M${x(halfUm)},18v${2 * (middle - 18)}`);
    write(root, name, x(halfUm) - 4, 14 + (i === 0 ? 0 : 2 * (middle - 14) + 2), 'end');
  });
  stroke(
    root,
    'rig-line',
    `M${x(-reach)},${middle - open}L${x(reach)},${middle + open}M${x(-reach)},${middle + open}L${x(reach)},${middle - open}`,
  );
  root
    .append('g')
    .attr('class', 'axis')
    .attr('transform', `translate(0,${height - 42})`)
    .call(
      axisBottom(x)
        .ticks(Math.max(3, width / 90))
        .tickSizeOuter(0),
    );
  write(root, 'micrometres from focus, along the light', width / 2, height - 6, 'middle');
}
