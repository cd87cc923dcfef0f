import type { SceneRig } from './scene.ts';

/** The open part of the pupil on a square grid of `side` points, as a list of the points that let light through. */
export interface Pupil {
  side: number;
  /** Place in the grid (row by row), pupil coordinates (edge at 1), and the open part of the point's square. */
  index: Int32Array;
  u: Float64Array;
  v: Float64Array;
  open: Float64Array;
  /** Sum of the open parts: the area of the pupil in squares of the grid. */
  openArea: number;
}

type Aperture = Pick<SceneRig, 'obstruction' | 'vanes'>;

/**
 * An annulus with vanes, `diameterSamples` (not necessarily whole) points across. Squares that an edge crosses count
 * with the part of their area that is open, or the pattern would show the staircase of the grid.
 */
export function samplePupil(aperture: Aperture, diameterSamples: number): Pupil {
  const step = 2 / diameterSamples;
  const side = 2 * Math.ceil(diameterSamples / 2 + 0.5);
  const index: number[] = [];
  const u: number[] = [];
  const v: number[] = [];
  const open: number[] = [];
  for (let row = 0; row < side; row++) {
    for (let col = 0; col < side; col++) {
      const x = (col - (side - 1) / 2) * step;
      const y = (row - (side - 1) / 2) * step;
      const part = openPart(aperture, x, y, step);
      if (part === 0) continue;
      index.push(row * side + col);
      u.push(x);
      v.push(y);
      open.push(part);
    }
  }
  return {
    side,
    index: Int32Array.from(index),
    u: Float64Array.from(u),
    v: Float64Array.from(v),
    open: Float64Array.from(open),
    openArea: open.reduce((sum, part) => sum + part, 0),
  };
}

const SUB = 16;

/** Open part of the square of width `step` at (x, y); only squares near an edge are looked at more closely. */
function openPart(aperture: Aperture, x: number, y: number, step: number): number {
  const r = Math.hypot(x, y);
  const diagonal = step * Math.SQRT1_2;
  if (r - diagonal > 1 || r + diagonal < aperture.obstruction) return 0;
  const nearEdge = r + diagonal > 1 || r - diagonal < aperture.obstruction;
  if (!nearEdge && !nearVane(aperture.vanes, x, y, diagonal)) return 1;
  let count = 0;
  for (let j = 0; j < SUB; j++)
    for (let i = 0; i < SUB; i++)
      if (isOpen(aperture, x + ((i + 0.5) / SUB - 0.5) * step, y + ((j + 0.5) / SUB - 0.5) * step)) count++;
  return count / (SUB * SUB);
}

function isOpen({ obstruction, vanes }: Aperture, x: number, y: number): boolean {
  const r2 = x * x + y * y;
  return r2 <= 1 && r2 >= obstruction * obstruction && !nearVane(vanes, x, y, 0);
}

/** Whether the point lies in a vane that is widened by `margin` on each side. A diameter is 2, so width = 2 fractions. */
function nearVane(vanes: SceneRig['vanes'], x: number, y: number, margin: number): boolean {
  if (!vanes) return false;
  for (let k = 0; k < vanes.count; k++) {
    const angle = (vanes.angleDeg * Math.PI) / 180 + (2 * Math.PI * k) / vanes.count;
    const along = x * Math.cos(angle) + y * Math.sin(angle);
    const across = y * Math.cos(angle) - x * Math.sin(angle);
    if (along >= -margin && Math.abs(across) <= vanes.widthFraction + margin) return true;
  }
  return false;
}
