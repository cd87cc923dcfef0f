import type { Sky } from '../background/sky.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { siteShare, type Plane } from '../wasm/plane.ts';
import { joinRuns, type Patch } from './components.ts';

/** In sigmas of the filtered frame: one false peak in some 30 million pixels of pure Gaussian noise. */
export const THRESHOLD_SIGMAS = 5.5;
const RUN_BYTES = 8;
const PEAK_BYTES = 12;

/**
 * One pass of the matched filter with a Gaussian of `sigmaPx`. Patches are in the plane's own pixels.
 * Null when more of the frame lies above the threshold than any star field has.
 */
export function scan(plane: Plane, sky: Sky, sigmaPx: number, { run, arena }: Kernels): Patch[] | null {
  const mark = arena.mark();
  const taps = gaussianTaps(sigmaPx, plane.sites);
  const radius = taps.length - 1;
  const tapsAddress = arena.alloc(taps.length * 4);
  const capacity = 100_000 + ((plane.widthPx * plane.heightPx) >> 6);
  const runs = arena.alloc(capacity * RUN_BYTES);
  const peaks = arena.alloc(capacity * PEAK_BYTES);
  const peakCount = arena.alloc(4);
  const scratch = arena.alloc((plane.widthPx + 2 * radius + 16) * (2 * radius + 9) * 4);
  arena.f32(tapsAddress, taps.length).set(taps);
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
    tapsAddress,
    radius,
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
      : joinRuns(
          new DataView(run.memory.buffer, runs, runCount * RUN_BYTES),
          runCount,
          new DataView(run.memory.buffer, peaks, arena.i32(peakCount, 1)[0] * PEAK_BYTES),
          arena.i32(peakCount, 1)[0],
        );
  arena.reset(mark);
  return patches;
}

/**
 * Half of a Gaussian kernel out to 3.2 sigma, scaled so that the separable convolution of unit noise on the plane's
 * sites has unit variance.
 */
function gaussianTaps(sigmaPx: number, sites: number): Float32Array {
  const radius = Math.ceil(3.2 * sigmaPx);
  const taps = Float32Array.from({ length: radius + 1 }, (_, j) => Math.exp(-0.5 * (j / sigmaPx) ** 2));
  const squares = taps.reduce((sum, tap, j) => sum + (j === 0 ? 1 : 2) * tap * tap, 0);
  const norm = Math.sqrt(squares) * siteShare(sites) ** 0.25;
  return taps.map((tap) => tap / norm);
}
