import type { Movement, Vector } from './scene.ts';
import type { Transfer } from './transfer.ts';

/** A straight piece of a star's path over the sensor, passed at even speed in `weight` of the exposure. */
export interface Segment {
  from: Vector;
  to: Vector;
  weight: number;
}

/** Pieces of a smooth movement: enough that the arc of a whole period differs from its chords by under 1 %. */
const SMOOTH_PIECES = 32;

/**
 * The path of a star at `atMm`, its mean over time at the origin. One piece where nothing moves; breaks lie where a
 * jump or a node of a path falls, so that these are exact.
 */
export function starPath(motion: Movement[], atMm: Vector): Segment[] {
  const breaks = breakTimes(motion);
  const segments: Segment[] = [];
  const mean = { x: 0, y: 0 };
  for (let i = 0; i + 1 < breaks.length; i++) {
    const middle = (breaks[i] + breaks[i + 1]) / 2;
    const from = displacement(motion, atMm, breaks[i], middle);
    const to = displacement(motion, atMm, breaks[i + 1], middle);
    const weight = breaks[i + 1] - breaks[i];
    mean.x += (weight * (from.x + to.x)) / 2;
    mean.y += (weight * (from.y + to.y)) / 2;
    segments.push({ from, to, weight });
  }
  for (const { from, to } of segments) {
    from.x -= mean.x;
    from.y -= mean.y;
    to.x -= mean.x;
    to.y -= mean.y;
  }
  return segments;
}

function breakTimes(motion: Movement[]): number[] {
  const times = new Set([0, 1]);
  const even = (pieces: number) => {
    for (let i = 1; i < pieces; i++) times.add(i / pieces);
  };
  for (const movement of motion) {
    if (movement.kind === 'jump') times.add(Math.min(1, Math.max(0, movement.atFraction)));
    else if (movement.kind === 'path') even(movement.nodesUm.length - 1);
    else if (movement.kind === 'rotation') even(8);
    else if (movement.kind === 'periodic') even(SMOOTH_PIECES * Math.max(1, Math.ceil(movement.cycles)));
  }
  return [...times].sort((a, b) => a - b);
}

/** Displacement at time t; `side` is a time in the piece that t bounds and tells before from after a jump. */
function displacement(motion: Movement[], atMm: Vector, t: number, side: number): Vector {
  const sum = { x: 0, y: 0 };
  const add = (v: Vector, factor = 1) => {
    sum.x += factor * v.x;
    sum.y += factor * v.y;
  };
  for (const movement of motion) {
    switch (movement.kind) {
      case 'drift':
        add(movement.vectorUm, t);
        break;
      case 'jump':
        if (side > movement.atFraction) add(movement.vectorUm);
        break;
      case 'periodic':
        add(movement.amplitudeUm, Math.sin(2 * Math.PI * movement.cycles * (t - 0.5) + movement.phaseRad));
        break;
      case 'path':
        add(alongNodes(movement.nodesUm, t));
        break;
      case 'rotation':
        add(turned(movement.angleDeg, movement.centreMm, atMm, t));
        break;
    }
  }
  return sum;
}

function alongNodes(nodes: Vector[], t: number): Vector {
  if (nodes.length < 2) throw new Error('a path needs two nodes or more');
  const position = t * (nodes.length - 1);
  const i = Math.min(nodes.length - 2, Math.floor(position));
  const part = position - i;
  return {
    x: nodes[i].x + part * (nodes[i + 1].x - nodes[i].x),
    y: nodes[i].y + part * (nodes[i + 1].y - nodes[i].y),
  };
}

/** The star is where it is drawn in the middle of the exposure. */
function turned(angleDeg: number, centreMm: Vector, atMm: Vector, t: number): Vector {
  const angle = ((t - 0.5) * angleDeg * Math.PI) / 180;
  const dx = 1000 * (atMm.x - centreMm.x);
  const dy = 1000 * (atMm.y - centreMm.y);
  const [c1, s] = [Math.cos(angle) - 1, Math.sin(angle)];
  return { x: c1 * dx - s * dy, y: s * dx + c1 * dy };
}

/** Farthest point of the path from its mean. */
export const pathReachUm = (path: Segment[]): number =>
  Math.max(...path.flatMap(({ from, to }) => [Math.hypot(from.x, from.y), Math.hypot(to.x, to.y)]));

/** Second moments of the path in um^2: a straight piece of length L adds L^2 / 12 along itself. */
export function pathMoments(path: Segment[]): { xx: number; yy: number; xy: number } {
  const m = { xx: 0, yy: 0, xy: 0 };
  for (const { from, to, weight } of path) {
    m.xx += (weight * (from.x * from.x + from.x * to.x + to.x * to.x)) / 3;
    m.yy += (weight * (from.y * from.y + from.y * to.y + to.y * to.y)) / 3;
    m.xy += (weight * (2 * from.x * from.y + from.x * to.y + to.x * from.y + 2 * to.x * to.y)) / 6;
  }
  return m;
}

/** Multiplies by the path's transfer: for each piece sinc(f . length) exp(-2 pi i f . middle), weighted by its time. */
export function applyPath(transfer: Transfer, path: Segment[]): void {
  if (path.length === 1 && pathReachUm(path) === 0) return;
  const { kMax, windowUm, re, im } = transfer;
  for (let ky = -kMax, i = 0; ky <= kMax; ky++) {
    for (let kx = 0; kx <= kMax; kx++, i++) {
      let pr = 0;
      let pi = 0;
      for (const { from, to, weight } of path) {
        const start = (2 * Math.PI * (kx * from.x + ky * from.y)) / windowUm;
        const end = (2 * Math.PI * (kx * to.x + ky * to.y)) / windowUm;
        const half = (end - start) / 2;
        const size = Math.abs(half) < 1e-6 ? weight : (weight * Math.sin(half)) / half;
        pr += size * Math.cos((start + end) / 2);
        pi -= size * Math.sin((start + end) / 2);
      }
      const r = re[i] * pr - im[i] * pi;
      im[i] = re[i] * pi + im[i] * pr;
      re[i] = r;
    }
  }
}
