import type { Size } from './camera.ts';
import { marginOf } from './slide.ts';

/** Canvases that lie over each other in the window and reach beyond it on all sides by the same margin. */
export class Layers {
  window: Size = { width: 0, height: 0 };

  constructor(private readonly canvases: readonly HTMLCanvasElement[]) {}

  /** The window and its margin, CSS pixels: what the canvases hold. */
  get reach(): Size {
    const { width, height } = this.window;
    const margin = marginOf(this.window);
    return { width: width + 2 * margin, height: height + 2 * margin };
  }

  /** Empties the canvases. */
  resize(window: Size, deviceScale: number): void {
    this.window = window;
    const { width, height } = this.reach;
    for (const canvas of this.canvases) {
      canvas.width = Math.round(width * deviceScale);
      canvas.height = Math.round(height * deviceScale);
      canvas.style.width = `${width}px`;
      canvas.style.height = `${height}px`;
      canvas.style.inset = `${-marginOf(window)}px`;
    }
  }

  /** Moves what is drawn. */
  shift({ x, y }: { x: number; y: number }): void {
    for (const canvas of this.canvases) canvas.style.transform = x || y ? `translate(${x}px, ${y}px)` : '';
  }
}
