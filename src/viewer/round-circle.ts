import type { RoundMark } from '../stars/round-mark.ts';
import { toScreen, type Camera, type Size } from './camera.ts';

/** Strokes the circle inside which coma does not show, and an arrow at the frame's border where its middle lies off it. */
export function drawRoundCircle(
  context: CanvasRenderingContext2D,
  { xPx, yPx, radiusPx, off, exit }: RoundMark,
  camera: Camera,
  window: Size,
  colour: string,
): void {
  const [x, y] = toScreen(camera, window, xPx, yPx);
  const [left, top] = toScreen(camera, window, exit.xPx, exit.yPx);
  // A dark casing keeps the line visible over bright stars.
  for (const [style, width] of [
    ['rgb(0 0 0 / 0.6)', 5],
    [colour, 2],
  ] as const) {
    context.strokeStyle = context.fillStyle = style;
    context.lineWidth = width;
    context.setLineDash([10, 6]);
    context.beginPath();
    context.arc(x, y, radiusPx * camera.zoom, 0, 2 * Math.PI);
    context.stroke();
    context.setLineDash([]);
    if (!off) continue;
    context.save();
    context.translate(left, top);
    context.rotate(exit.angleRad);
    context.beginPath();
    context.moveTo(-40, 0);
    context.lineTo(-14, 0);
    context.stroke();
    context.beginPath();
    context.moveTo(-5, 0);
    context.lineTo(-20, -8);
    context.lineTo(-20, 8);
    context.closePath();
    context.fill();
    context.restore();
  }
}
