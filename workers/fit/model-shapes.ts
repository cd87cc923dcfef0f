import type { ModelShape } from '../protocol/model.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { drawnWithout, fieldPlace } from './drawn-field.ts';
import type { FieldFit } from './field-fit.ts';
import { measureModel } from './model-frame.ts';

/** The model's stars at the centres of cols x rows cells, in the terms of the star table. */
export function modelShapes(kernels: Kernels, fit: FieldFit, cols: number, rows: number): ModelShape[] {
  const cells = Array.from({ length: cols * rows }, (_, i) => ({
    col: i % cols,
    row: Math.floor(i / cols),
    xPx: (((i % cols) + 0.5) / cols) * fit.widthPx - 0.5,
    yPx: ((Math.floor(i / cols) + 0.5) / rows) * fit.heightPx - 0.5,
  }));
  const stars = measureModel(
    kernels,
    fit,
    drawnWithout(fit, []),
    cells.map((cell) => fieldPlace(fit, cell)),
    cols,
  );
  return cells.flatMap((cell, i) => {
    const star = stars[i];
    if (!star) return [];
    const { fwhmPx, hfdPx, e1, e2, comet } = star;
    return [{ ...cell, fwhmPx, hfdPx, e1, e2, cometX: comet[0], cometY: comet[1] }];
  });
}
