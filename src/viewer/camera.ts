import type { FrameView } from '../../workers/protocol/api.ts';

/** Which part of the frame is seen: the frame position in the middle of the window, and CSS pixels per frame pixel. */
export interface Camera {
  xPx: number;
  yPx: number;
  zoom: number;
}

export interface Size {
  width: number;
  height: number;
}

/** One frame pixel never grows beyond this many CSS pixels. */
const MAX_ZOOM = 40;

/** The whole frame, centred; a frame pixel i covers i - 0.5 to i + 0.5. */
export function fitCamera(frame: Size, window: Size): Camera {
  return {
    xPx: (frame.width - 1) / 2,
    yPx: (frame.height - 1) / 2,
    zoom: Math.min(window.width / frame.width, window.height / frame.height),
  };
}

/** Keeps the middle of the window on the frame and the zoom between "all of it" and single pixels. */
export function clampCamera(camera: Camera, frame: Size, window: Size): Camera {
  const fit = fitCamera(frame, window);
  const zoom = Math.min(Math.max(MAX_ZOOM, fit.zoom), Math.max(fit.zoom, camera.zoom));
  const along = (middle: number, size: number, seen: number) =>
    seen >= size ? (size - 1) / 2 : Math.min(size - 0.5 - seen / 2, Math.max(seen / 2 - 0.5, middle));
  return {
    xPx: along(camera.xPx, frame.width, window.width / zoom),
    yPx: along(camera.yPx, frame.height, window.height / zoom),
    zoom,
  };
}

export const toScreen = (camera: Camera, window: Size, xPx: number, yPx: number): [number, number] => [
  window.width / 2 + (xPx - camera.xPx) * camera.zoom,
  window.height / 2 + (yPx - camera.yPx) * camera.zoom,
];

export const toFrame = (camera: Camera, window: Size, x: number, y: number): [number, number] => [
  camera.xPx + (x - window.width / 2) / camera.zoom,
  camera.yPx + (y - window.height / 2) / camera.zoom,
];

/** Zooms by `factor` about a point of the window, which keeps its place on the frame. */
export function zoomAbout(camera: Camera, window: Size, x: number, y: number, factor: number): Camera {
  const [xPx, yPx] = toFrame(camera, window, x, y);
  const zoom = camera.zoom * factor;
  return { xPx: xPx - (x - window.width / 2) / zoom, yPx: yPx - (y - window.height / 2) / zoom, zoom };
}

/** Moves the picture by (dx, dy) CSS pixels with the hand. */
export const panBy = (camera: Camera, dx: number, dy: number): Camera => ({
  ...camera,
  xPx: camera.xPx - dx / camera.zoom,
  yPx: camera.yPx - dy / camera.zoom,
});

export interface TileAddress {
  level: number;
  col: number;
  row: number;
}

export const tileKey = ({ level, col, row }: TileAddress): string => `${level}/${col}/${row}`;

/** The coarsest level that still gives each device pixel a sample of its own. */
export function levelFor(view: FrameView, zoom: number, deviceScale: number): number {
  const framePxPerDevicePx = 1 / (zoom * deviceScale);
  const level = Math.floor(Math.log2(Math.max(1, framePxPerDevicePx)) + 1e-9);
  return Math.min(view.levels.length - 1, level);
}

/** The part of the frame that a tile covers: [left, top, right, bottom] in frame pixels. */
export function tileBounds(
  view: FrameView,
  { level, col, row }: TileAddress,
): [number, number, number, number] {
  const scale = 2 ** level;
  const { widthPx, heightPx } = view.levels[level];
  const edge = (index: number, size: number) => Math.min(index * view.tilePx, size) * scale - 0.5;
  return [edge(col, widthPx), edge(row, heightPx), edge(col + 1, widthPx), edge(row + 1, heightPx)];
}

/** Tiles of a level that the window touches, nearest to its middle first. */
export function visibleTiles(view: FrameView, camera: Camera, window: Size, level: number): TileAddress[] {
  const scale = 2 ** level * view.tilePx;
  const columns = Math.ceil(view.levels[level].widthPx / view.tilePx);
  const rows = Math.ceil(view.levels[level].heightPx / view.tilePx);
  const [left, top] = toFrame(camera, window, 0, 0);
  const [right, bottom] = toFrame(camera, window, window.width, window.height);
  const first = (position: number) => Math.max(0, Math.floor((position + 0.5) / scale));
  const last = (position: number, tiles: number) => Math.min(tiles - 1, Math.floor((position + 0.5) / scale));
  const found: (TileAddress & { distance: number })[] = [];
  for (let row = first(top); row <= last(bottom, rows); row++)
    for (let col = first(left); col <= last(right, columns); col++) {
      const dx = (col + 0.5) * scale - camera.xPx;
      const dy = (row + 0.5) * scale - camera.yPx;
      found.push({ level, col, row, distance: dx * dx + dy * dy });
    }
  return found.sort((a, b) => a.distance - b.distance).map(({ col, row }) => ({ level, col, row }));
}

export const parentOf = ({ level, col, row }: TileAddress): TileAddress => ({
  level: level + 1,
  col: col >> 1,
  row: row >> 1,
});
