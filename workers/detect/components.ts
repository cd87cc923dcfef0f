/** A connected patch of pixels above the threshold, with the local maxima in it, strongest first. */
export interface Patch {
  x0: number;
  y0: number;
  /** Exclusive. */
  x1: number;
  y1: number;
  pixels: number;
  peaks: Peak[];
}

export interface Peak {
  x: number;
  y: number;
  /** Where the filtered frame is highest, from the pixel's middle: -0.5 to 0.5. */
  dx: number;
  dy: number;
  /** Height in the filtered frame in units of its noise. */
  significance: number;
}

/** Layout of a run in the kernels' memory, see kernels/detect.ts. */
const RUN_BYTES = 8;
const PEAK_BYTES = 20;

/** What the detection kernel wrote: addresses in `memory`, numbers of runs and peaks. */
export interface Scanned {
  memory: ArrayBufferLike;
  runs: number;
  runCount: number;
  peaks: number;
  peakCount: number;
}

/**
 * Joins runs that touch (sides or corners) into patches. Rows ascend, and x within a row.
 */
export function joinRuns({ memory, runs, runCount, peaks, peakCount }: Scanned): Patch[] {
  const parent = new Int32Array(runCount);
  const x0 = new Uint16Array(runCount);
  const x1 = new Uint16Array(runCount);
  const y = new Int32Array(runCount);
  const halves = new Uint16Array(memory, runs, (runCount * RUN_BYTES) / 2);
  const words = new Uint32Array(memory, runs, (runCount * RUN_BYTES) / 4);
  for (let index = 0; index < runCount; index++) {
    parent[index] = index;
    x0[index] = halves[4 * index];
    x1[index] = halves[4 * index + 1];
    y[index] = words[2 * index + 1];
  }
  let above = 0;
  for (let index = 0; index < runCount; index++) {
    const row = y[index] - 1;
    while (y[above] < row) above++;
    while (y[above] === row && x1[above] < x0[index]) above++;
    for (let other = above; y[other] === row && x0[other] <= x1[index]; other++) unite(parent, other, index);
  }

  // Roots come before the rest of their patch: patches in the order of their first runs.
  const patches: Patch[] = [];
  const patchOf = new Int32Array(runCount);
  for (let index = 0; index < runCount; index++) {
    const root = find(parent, index);
    const pixels = x1[index] - x0[index];
    if (root === index) {
      patchOf[index] = patches.length;
      patches.push({ x0: x0[index], x1: x1[index], y0: y[index], y1: y[index] + 1, pixels, peaks: [] });
      continue;
    }
    patchOf[index] = patchOf[root];
    const patch = patches[patchOf[root]];
    patch.x0 = Math.min(patch.x0, x0[index]);
    patch.x1 = Math.max(patch.x1, x1[index]);
    patch.y1 = y[index] + 1;
    patch.pixels += pixels;
  }
  // Peaks come in the order of the runs that hold them.
  const places = new Uint32Array(memory, peaks, (peakCount * PEAK_BYTES) / 4);
  const values = new Float32Array(memory, peaks, (peakCount * PEAK_BYTES) / 4);
  let run = 0;
  for (let at = 0; at < places.length; at += PEAK_BYTES / 4) {
    const peak: Peak = {
      x: places[at],
      y: places[at + 1],
      dx: values[at + 3],
      dy: values[at + 4],
      significance: values[at + 2],
    };
    while (y[run] < peak.y || x1[run] <= peak.x) run++;
    patches[patchOf[run]].peaks.push(peak);
  }
  for (const patch of patches)
    if (patch.peaks.length > 1) patch.peaks.sort((a, b) => b.significance - a.significance);
  return patches.filter((patch) => patch.peaks.length > 0);
}

function find(parent: Int32Array, index: number): number {
  while (parent[index] !== index) {
    parent[index] = parent[parent[index]];
    index = parent[index];
  }
  return index;
}

function unite(parent: Int32Array, a: number, b: number): void {
  const rootA = find(parent, a);
  const rootB = find(parent, b);
  if (rootA < rootB) parent[rootB] = rootA;
  else parent[rootA] = rootB;
}
