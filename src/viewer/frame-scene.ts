import type { FrameView, Tile } from '../../workers/protocol/api.ts';
import type { StarTable } from '../../workers/protocol/stars.ts';
import type { RoundMark } from '../stars/round-mark.ts';
import {
  clampCamera,
  fitCamera,
  levelFor,
  panBy,
  tileBounds,
  tileKey,
  toScreen,
  visibleTiles,
  zoomAbout,
  type Camera,
  type TileAddress,
} from './camera.ts';
import { createCanvasPainter } from './canvas-painter.ts';
import { createGlPainter } from './gl-painter.ts';
import { Layers } from './layers.ts';
import { drawMarks, markColours, starAt, type MarkColours } from './marks.ts';
import type { Painter, Placed } from './painter.ts';
import { drawRoundCircle } from './round-circle.ts';
import { marginOf, slideTo } from './slide.ts';
import type { Stretch } from './stretch.ts';
import { TileStore, type AskForTile } from './tile-store.ts';

/** Where the pixels and the stars come from. */
export interface SceneFrame {
  view: FrameView;
  stars: StarTable;
  askForTile: AskForTile;
}

/** How they are to be shown. */
export interface SceneLook {
  stretch: Stretch;
  marks: boolean;
  selected: number | null;
  /** Drawn over the frame where given. */
  circle: RoundMark | null;
}

export interface SceneEvents {
  /** The tile that shows the whole frame in small has come. */
  overview(tile: Tile): void;
  /** Whether the whole frame is seen. */
  moved(whole: boolean): void;
}

/** From here on (device pixels per frame pixel) a frame pixel is drawn as a square. */
const SHARP_ZOOM = 2;
/** Close enough to see the pixels of a star. */
const STAR_ZOOM = 6;
/** A finger may miss a mark by this many CSS pixels. */
const TAP_REACH = 14;
/** After a pan that drew nothing, the picture is drawn about the new place, this many milliseconds later. */
const SETTLE_MS = 200;

/**
 * The picture of a frame in two canvases, tiles below, star marks above, which reach beyond the window on all sides: a
 * pan moves them and draws only where that is not enough. Draws at most once per screen refresh.
 */
export class FrameScene {
  #painter: Painter;
  #store: TileStore | null = null;
  #camera: Camera = { xPx: 0, yPx: 0, zoom: 0 };
  /** What the canvases show: the window and its margin, about this place. */
  #drawn: Camera = this.#camera;
  readonly #layers: Layers;
  #scheduled = 0;
  #settling = 0;
  #colours: MarkColours;

  constructor(
    readonly picture: HTMLCanvasElement,
    readonly overlay: HTMLCanvasElement,
    private frame: SceneFrame,
    private look: SceneLook,
    private readonly events: SceneEvents,
  ) {
    this.#layers = new Layers([picture, overlay]);
    this.#painter = this.#newPainter();
    this.#colours = markColours(overlay);
    picture.addEventListener('webglcontextlost', (event) => event.preventDefault());
    picture.addEventListener('webglcontextrestored', () => {
      this.#painter = this.#newPainter();
      this.#openStore();
    });
    this.#openStore();
  }

  /** Shows another frame, or the same one from a new source; the place looked at stays unless the size differs. */
  setFrame(frame: SceneFrame): void {
    const before = this.#size;
    this.frame = frame;
    this.#openStore();
    const { width, height } = this.#size;
    if (width !== before.width || height !== before.height) this.showAll();
  }

  /** Also to be called when the colours of the page have changed. */
  setLook(look: SceneLook): void {
    this.look = look;
    this.#colours = markColours(this.overlay);
    this.schedule();
  }

  resize(width: number, height: number): void {
    const whole = this.#camera.zoom === 0 || this.#whole;
    this.#layers.resize({ width, height }, deviceScale());
    this.#moveTo(whole ? fitCamera(this.#size, this.#layers.window) : this.#camera);
    // At once: a resized canvas is empty until it is drawn.
    this.#draw();
  }

  panBy = (dx: number, dy: number): void => this.#moveTo(panBy(this.#camera, dx, dy));
  zoomBy = (factor: number, x = this.#layers.window.width / 2, y = this.#layers.window.height / 2): void =>
    this.#moveTo(zoomAbout(this.#camera, this.#layers.window, x, y, factor));
  showAll = (): void => this.#moveTo(fitCamera(this.#size, this.#layers.window));
  showPixels = (): void => this.zoomBy(1 / this.#camera.zoom);

  /** Brings a star to the middle, close enough to see its pixels. */
  reveal(star: number): void {
    const { xPx, yPx } = this.frame.stars;
    this.#moveTo({ xPx: xPx[star], yPx: yPx[star], zoom: Math.max(this.#camera.zoom, STAR_ZOOM) });
  }

  starAt = (x: number, y: number): number | null =>
    starAt(this.frame.stars, this.#camera, this.#layers.window, x, y, TAP_REACH);

  schedule = (): void => {
    this.#scheduled ||= requestAnimationFrame(() => this.#draw());
  };

  end(): void {
    cancelAnimationFrame(this.#scheduled);
    clearTimeout(this.#settling);
    this.#store?.end();
    this.#painter.end();
  }

  get #size() {
    const { widthPx, heightPx } = this.frame.view.levels[0];
    return { width: widthPx, height: heightPx };
  }

  get #whole(): boolean {
    return this.#camera.zoom <= fitCamera(this.#size, this.#layers.window).zoom * 1.001;
  }

  get #top(): TileAddress {
    return { level: this.frame.view.levels.length - 1, col: 0, row: 0 };
  }

  #newPainter(): Painter {
    const painter = createGlPainter(this.picture) ?? createCanvasPainter(this.picture);
    if (!painter) throw new Error('This browser offers no canvas to draw on.');
    return painter;
  }

  #openStore(): void {
    this.#store?.end();
    const top = tileKey(this.#top);
    this.#store = new TileStore(this.frame.view, this.#painter, this.frame.askForTile, (what) => {
      if (tileKey(what) === top) this.events.overview(what);
      this.schedule();
    });
    // The coarsest tile stands in for all others while they are on their way.
    this.#store.use([this.#top]);
    this.schedule();
  }

  #moveTo(camera: Camera): void {
    if (this.#layers.window.width === 0) return;
    this.#camera = clampCamera(camera, this.#size, this.#layers.window);
    this.events.moved(this.#whole);
    const slide = slideTo(this.#drawn, this.#camera, marginOf(this.#layers.window), deviceScale());
    if (!slide) return this.schedule();
    this.#layers.shift(slide);
    clearTimeout(this.#settling);
    this.#settling = window.setTimeout(this.schedule, SETTLE_MS);
  }

  #draw(): void {
    cancelAnimationFrame(this.#scheduled);
    clearTimeout(this.#settling);
    this.#scheduled = 0;
    if (!this.#store || this.#layers.window.width === 0) return;
    const { view, stars } = this.frame;
    const { stretch, marks, selected, circle } = this.look;
    const scale = deviceScale();
    const { reach } = this.#layers;
    this.#drawn = this.#camera;
    this.#layers.shift({ x: 0, y: 0 });
    const wanted = visibleTiles(view, this.#camera, reach, levelFor(view, this.#camera.zoom, scale));
    const placed = this.#store.use(wanted).map((tile) => this.#place(tile, scale));
    this.#painter.draw(placed, stretch, this.#camera.zoom * scale >= SHARP_ZOOM);
    if (marks) drawMarks(this.overlay, stars, this.#camera, reach, scale, selected, this.#colours);
    else this.overlay.getContext('2d')!.clearRect(0, 0, this.overlay.width, this.overlay.height);
    if (circle) {
      const context = this.overlay.getContext('2d')!;
      context.setTransform(scale, 0, 0, scale, 0, 0);
      drawRoundCircle(context, circle, this.#camera, reach, this.#colours.plain);
    }
  }

  #place(tile: TileAddress, scale: number): Placed {
    const [x0, y0, x1, y1] = tileBounds(this.frame.view, tile);
    const [left, top] = toScreen(this.#camera, this.#layers.reach, x0, y0);
    const [right, bottom] = toScreen(this.#camera, this.#layers.reach, x1, y1);
    // Whole device pixels, so that no seam shows between tiles.
    const device = (css: number) => Math.round(css * scale);
    return {
      key: tileKey(tile),
      left: device(left),
      top: device(top),
      right: device(right),
      bottom: device(bottom),
    };
  }
}

const deviceScale = (): number => window.devicePixelRatio || 1;
