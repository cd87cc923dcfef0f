import type { Place } from '../../workers/protocol/model.ts';

interface Sensor {
  widthPx: number;
  heightPx: number;
}

/** Centres of a grid of about square cells, `columns` of them a row. */
export function cellCentres({ widthPx, heightPx }: Sensor, columns: number): Place[] {
  const rows = Math.max(1, Math.round((columns * heightPx) / widthPx));
  return Array.from({ length: columns * rows }, (_, i) => ({
    xPx: (((i % columns) + 0.5) / columns) * widthPx - 0.5,
    yPx: ((Math.floor(i / columns) + 0.5) / rows) * heightPx - 0.5,
  }));
}

/** Nodes of a grid whose outer ones lie on the sensor's border, row by row. */
export function gridNodes({ widthPx, heightPx }: Sensor, columns: number) {
  const rows = Math.max(2, Math.round((columns * heightPx) / widthPx));
  const places = Array.from({ length: columns * rows }, (_, i) => ({
    xPx: ((i % columns) / (columns - 1)) * widthPx - 0.5,
    yPx: (Math.floor(i / columns) / (rows - 1)) * heightPx - 0.5,
  }));
  return { columns, rows, places };
}
