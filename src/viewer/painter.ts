import type { Tile } from '../../workers/protocol/api.ts';
import type { Stretch } from './stretch.ts';

/** A tile's place in the window, in device pixels. */
export interface Placed {
  key: string;
  left: number;
  top: number;
  right: number;
  bottom: number;
}

/** Draws resident tiles; two kinds, one on the graphics card and one for machines without. */
export interface Painter {
  /** Takes over a tile under `key`; its values are not needed afterwards. */
  load(key: string, tile: Tile): void;
  drop(key: string): void;
  /** Draws the placed tiles in the given order. `sharp` shows single pixels as squares. */
  draw(placed: Placed[], stretch: Stretch, sharp: boolean): void;
  /** Frees everything; the painter is of no use afterwards. */
  end(): void;
}
