import type { Sky } from '../background/sky.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { siteShare, type Plane } from '../wasm/plane.ts';
import { joinRuns, type Patch } from './components.ts';

/** In sigmas of the filtered frame: one false peak in some 30 million pixels of pure Gaussian noise. */
export const THRESHOLD_SIGMAS = 5.5;
const RUN_BYTES = 8;
const PEAK_BYTES = 20;
/** Room that the kernel wants in front of and behind each row of its scratch, f32. */
const ROW_MARGIN = 27;
const SCRATCH_ROWS = 16;
const MOST_ORDER = 16;

/**
 * One pass of the matched filter with a Gaussian of about `sigmaPx` (see `filterSigmaPx`). Patches are in the plane's own pixels.
 * Null when more of the frame lies above the threshold than any star field has.
 */
export function scan(plane: Plane, sky: Sky, sigmaPx: number, { run, arena }: Kernels): Patch[] | null {
  const mark = arena.mark();
  const order = binomialOrder(sigmaPx);
  const capacity = 100_000 + ((plane.widthPx * plane.heightPx) >> 6);
  const runs = arena.alloc(capacity * RUN_BYTES);
  const peaks = arena.alloc(capacity * PEAK_BYTES);
  const peakCount = arena.alloc(4);
  const scratch = arena.alloc((plane.widthPx + ROW_MARGIN) * (order + SCRATCH_ROWS) * 4);
  const detect = plane.kind === 'u16' ? run.detectU16 : run.detectF32;
  const runCount = detect(
    plane.address,
    plane.widthPx,
    plane.heightPx,
    sky.levelsAddress,
    sky.sigmasAddress,
    sky.cols,
    sky.rows,
    plane.sites,
    order,
    unitNoise(order, plane.sites),
    THRESHOLD_SIGMAS,
    runs,
    capacity,
    peaks,
    peakCount,
    scratch,
  );
  const patches =
    runCount < 0
      ? null
      : joinRuns({
          memory: run.memory.buffer,
          runs,
          runCount,
          peaks,
          peakCount: arena.i32(peakCount, 1)[0],
        });
  arena.reset(mark);
  return patches;
}

/** The kernel's filter is a binomial, [1 1] so many times along each axis; each time adds 1/4 px² of variance. */
const binomialOrder = (sigmaPx: number) =>
  Math.max(2, Math.min(MOST_ORDER, 2 * Math.round(2 * sigmaPx * sigmaPx)));

/** The rms width that a pass for `sigmaPx` really has. */
export const filterSigmaPx = (sigmaPx: number) => Math.sqrt(binomialOrder(sigmaPx)) / 2;

/** Makes the filtered noise 1: the squares of the binomials of order n add up to C(2n, n), on the plane's sites alone to a share. */
function unitNoise(order: number, sites: number): number {
  let squares = 1;
  for (let j = 1; j <= order; j++) squares *= (order + j) / j;
  return 1 / (squares * Math.sqrt(siteShare(sites)));
}
