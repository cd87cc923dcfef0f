import { NOT_FOR_SHAPE } from '../../workers/protocol/flags.ts';
import type { StarTable } from '../../workers/protocol/stars.ts';
import { axisOf } from '../stars/shape.ts';
import { toFrame, toScreen, type Camera, type Size } from './camera.ts';

/** Marks are drawn this many times the star's own size, so that the star stays visible inside. */
export const MARK_SIZE = 2.5;
/** No mark gets smaller than this many CSS pixels: seen whole, a frame's stars are dots. */
const LEAST_RADIUS = 4.5;
/** Only the brightest stars in view are marked, one for so many square CSS pixels, so that the picture stays visible. */
const AREA_PER_MARK = 1100;

/** The ellipse of a star's mark in frame pixels: half axes and angle in radians from +x towards +y. */
export function markEllipse(stars: StarTable, i: number): { major: number; minor: number; angleRad: number } {
  const { elongation, angleRad } = axisOf(stars.e1[i] || 0, stars.e2[i] || 0);
  const widthPx = Number.isFinite(stars.fwhmPx[i]) ? stars.fwhmPx[i] : stars.hfdPx[i];
  const radius = (MARK_SIZE * (Number.isFinite(widthPx) ? widthPx : 4)) / 2;
  return { major: radius * Math.sqrt(elongation), minor: radius / Math.sqrt(elongation), angleRad };
}

export interface MarkColours {
  plain: string;
  flagged: string;
  selected: string;
}

/** The colours of the marks under the present light of the page. */
export function markColours(element: Element): MarkColours {
  const style = getComputedStyle(element);
  return {
    plain: style.getPropertyValue('--mark'),
    flagged: style.getPropertyValue('--mark-flagged'),
    selected: '#fff',
  };
}

/** Draws the marks of the stars in view onto a transparent canvas laid over the frame. */
export function drawMarks(
  canvas: HTMLCanvasElement,
  stars: StarTable,
  camera: Camera,
  window: Size,
  deviceScale: number,
  selected: number | null,
  colours: MarkColours,
): void {
  const context = canvas.getContext('2d')!;
  context.setTransform(deviceScale, 0, 0, deviceScale, 0, 0);
  context.clearRect(0, 0, window.width, window.height);
  const most = Math.ceil((window.width * window.height) / AREA_PER_MARK);
  const shown = starsInView(stars, camera, window, most);
  for (const flagged of [false, true]) {
    context.beginPath();
    context.setLineDash(flagged ? [3, 3] : []);
    context.strokeStyle = flagged ? colours.flagged : colours.plain;
    context.lineWidth = 1.1;
    for (const i of shown)
      if (Boolean(stars.flags[i] & NOT_FOR_SHAPE) === flagged) trace(context, stars, i, camera, window);
    context.stroke();
  }
  if (selected === null) return;
  context.setLineDash([]);
  context.strokeStyle = colours.selected;
  context.lineWidth = 2.5;
  context.beginPath();
  trace(context, stars, selected, camera, window);
  const [x, y] = toScreen(camera, window, stars.xPx[selected], stars.yPx[selected]);
  const reach = Math.max(LEAST_RADIUS, markEllipse(stars, selected).major * camera.zoom) + 4;
  for (const [dx, dy] of [
    [1, 0],
    [-1, 0],
    [0, 1],
    [0, -1],
  ]) {
    context.moveTo(x + dx * reach, y + dy * reach);
    context.lineTo(x + dx * (reach + 10), y + dy * (reach + 10));
  }
  context.stroke();
}

function trace(
  context: CanvasRenderingContext2D,
  stars: StarTable,
  i: number,
  camera: Camera,
  window: Size,
): void {
  const [x, y] = toScreen(camera, window, stars.xPx[i], stars.yPx[i]);
  const { major, minor, angleRad } = markEllipse(stars, i);
  // A mark that would be too small grows as a whole, so that it keeps its shape.
  const scale = Math.max(camera.zoom, LEAST_RADIUS / minor);
  context.moveTo(x + major * scale * Math.cos(angleRad), y + major * scale * Math.sin(angleRad));
  context.ellipse(x, y, major * scale, minor * scale, angleRad, 0, 2 * Math.PI);
}

/** Indices of the stars inside the window, in the table's order (brightest first), `most` at most. */
export function starsInView(stars: StarTable, camera: Camera, window: Size, most = Infinity): number[] {
  const [left, top] = toFrame(camera, window, 0, 0);
  const [right, bottom] = toFrame(camera, window, window.width, window.height);
  const inside: number[] = [];
  for (let i = 0; i < stars.count && inside.length < most; i++)
    if (stars.xPx[i] >= left && stars.xPx[i] <= right && stars.yPx[i] >= top && stars.yPx[i] <= bottom)
      inside.push(i);
  return inside;
}

/** The star nearest to a point of the window, if it is within `reach` CSS pixels of the edge of its mark. */
export function starAt(
  stars: StarTable,
  camera: Camera,
  window: Size,
  x: number,
  y: number,
  reach: number,
): number | null {
  let nearest: number | null = null;
  let least = Infinity;
  for (const i of starsInView(stars, camera, window)) {
    const [sx, sy] = toScreen(camera, window, stars.xPx[i], stars.yPx[i]);
    const distance = Math.hypot(sx - x, sy - y);
    const edge = Math.max(LEAST_RADIUS, markEllipse(stars, i).major * camera.zoom);
    if (distance < least && distance <= edge + reach) [nearest, least] = [i, distance];
  }
  return nearest;
}
