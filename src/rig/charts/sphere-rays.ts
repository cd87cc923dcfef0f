import { startDrawing, stroke, write } from './drawing.ts';

/** Rays from all heights of a spherical mirror about its focus: the edge crosses first. Exact reflection; widths enlarged. */
export function drawSphereRays(
  element: SVGSVGElement,
  data: { apertureMm: number; focalMm: number },
  availableWidth: number,
): void {
  const width = Math.min(availableWidth, 620);
  const height = 170;
  const root = startDrawing(element, width, height, 'Rays of a spherical mirror near its focus');
  const { apertureMm, focalMm } = data;
  const spread = apertureMm ** 2 / (32 * focalMm);
  const [from, to] = [focalMm - 2.4 * spread, focalMm + 1.2 * spread];
  const scaleX = (width - 20) / (to - from);
  const tallest = (1.9 * spread * apertureMm) / (2 * focalMm);
  const scaleY = 70 / tallest;
  for (let i = -8; i <= 8; i++) {
    if (i === 0) continue;
    const h = ((apertureMm / 2) * i) / 8;
    const angle = Math.asin(h / (2 * focalMm));
    const focus = 2 * focalMm - focalMm / Math.cos(angle);
    const at = (z: number) => 85 - (focus - z) * Math.tan(2 * angle) * scaleY;
    stroke(root, 'rig-ray', `M10,${at(from)}L${width - 10},${at(to)}`);
  }
  const mark = (z: number, text: string, y: number) => {
    const x = 10 + (z - from) * scaleX;
    stroke(root, 'rig-mark', `M${x},12V${height - 22}`);
    write(root, text, x, y, 'middle');
  };
  mark(focalMm, 'focus of the middle', height - 6);
  mark(focalMm - spread, 'of the edge', height - 6);
}
