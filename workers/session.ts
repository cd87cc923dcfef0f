import { measureSky, type Sky } from './background/sky.ts';
import { withFiltersSeen } from './background/filters-seen.ts';
import { decodeFrame } from './decode/index.ts';
import { withTold } from './decode/told.ts';
import { detectStars, type Detection } from './detect/detect.ts';
import { median } from './math/robust.ts';
import { measureColour, measuredColour } from './measure/colour.ts';
import { measureStars, type Measurement } from './measure/measure.ts';
import { makeStamps } from './measure/stamps.ts';
import { stoppedTrails } from './measure/stopped-trails.ts';
import { starTable } from './measure/table.ts';
import type {
  ColourSummary,
  FrameView,
  MeasureOptions,
  Measured,
  Progress,
  Stage,
  StarCutout,
  Tile,
} from './protocol/api.ts';
import { failure, success, type Outcome } from './protocol/faults.ts';
import type { Frame } from './protocol/frame.ts';
import type { Source } from './protocol/source.ts';
import type { StampSet } from './protocol/stamps.ts';
import type { StarTable } from './protocol/stars.ts';
import type { StoppedFrame } from './protocol/stopped-drive.ts';
import { summariseColours } from './regions/colour.ts';
import { fineGridSize, gridRegions } from './regions/grid.ts';
import { meanStars } from './regions/mean-star.ts';
import { buildReport } from './regions/report.ts';
import { sizeScatter } from './regions/size-scatter.ts';
import { frameView, storedRange } from './view/frame-view.ts';
import { cutoutOf, renderTile, type ChannelSky } from './view/pyramid.ts';
import { OutOfMemory } from './wasm/arena.ts';
import type { Kernels } from './wasm/kernels.ts';
import { measuredPlane, sitesOf, type Plane } from './wasm/plane.ts';

/** A frame that is held, and what was found on it. */
interface Held {
  handle: number;
  frame: Frame;
  plane: Plane;
  sky: Sky;
  /** Of each colour; undefined before a tile was asked for. */
  channelSky?: ChannelSky | null;
  stars: StarTable;
  measurement: Measurement;
  electronsPerAdu: number;
  view: FrameView;
  range: { low: number; high: number };
}

/** Half side of the mean stars' pictures at most. */
const MOST_MEAN_STAR_PX = 20;

type OnProgress = (progress: Progress) => void;

/**
 * Holds one frame in the kernels' memory and answers questions about it. A new frame takes the old one's place: the
 * arena is reset, so memory is used again and never grows beyond the largest frame seen.
 */
export class FrameSession {
  private held: Held | null = null;
  private handles = 0;
  private turn: Promise<unknown> = Promise.resolve();
  private readonly empty: number;

  constructor(private readonly kernels: Kernels) {
    this.empty = kernels.arena.mark();
  }

  /** The whole way from bytes to numbers. Faults that leave nothing to show are returned; others are in the report. */
  measure(
    source: Source,
    options: MeasureOptions,
    onProgress: OnProgress = () => {},
    signal?: AbortSignal,
  ): Promise<Outcome<Measured>> {
    // One at a time: a second frame would reset the memory under the first while that waits for its bytes.
    const turn = this.turn.then(() => this.measureNow(source, options, onProgress, signal));
    this.turn = turn.catch(() => {});
    return turn.catch((error: unknown) => {
      if (error instanceof OutOfMemory) return tooLarge(source.name);
      throw error;
    });
  }

  private async measureNow(
    source: Source,
    options: MeasureOptions,
    onProgress: OnProgress,
    signal?: AbortSignal,
  ): Promise<Outcome<Measured>> {
    this.held = null;
    this.kernels.arena.reset(this.empty);
    const clock = new Stopwatch(onProgress);
    clock.enter('reading', source.sizeBytes);
    const heed = (progress: Progress) => clock.tell(progress.done, progress.total);
    const decoded = await decodeFrame(source, this.kernels, signal, heed, options.choice);
    if (!decoded.ok) return decoded;
    const told = withTold(decoded.value, options.told ?? {});
    const { reading } = told;
    const frame = told.filtersTold ? told.frame : withFiltersSeen(told.frame, this.kernels.arena);
    const plane = measuredPlane(frame);

    clock.enter('background', plane.heightPx);
    const sky = measureSky(plane, this.kernels);
    const noise = median(sky.sigmas);
    if (!(noise > 0))
      return failure(
        'no-signal',
        'Most pixels of this frame have exactly the same value, without any noise: the sensor was covered, or this is no exposure of a camera. Take a frame of the sky.',
      );

    clock.enter('detecting', plane.heightPx);
    const detection = detectStars(plane, sky, this.kernels);
    const noField = detection === null ? 'covered' : detection.grid ? 'grid' : null;
    const found = detection ?? NOTHING_FOUND;

    clock.enter('measuring', found.candidates.length);
    const gain = frame.meta.gainElectronsPerAdu;
    const unitsPerElectron = gain ? 1 / (gain * frame.scale) : null;
    const measurement = measureStars(
      plane,
      sky,
      found,
      { unitsPerElectron, zeroStored: -frame.zero / frame.scale },
      this.kernels,
      (done) => clock.tell(done),
    );
    const electronsPerAdu = 1 / (measurement.unitsPerElectron * frame.scale);
    const stars = starTable(measurement.stars, frame.scale, frame.zero);

    clock.enter('mapping', 1);
    const range = storedRange(frame, sky);
    const view = frameView(frame, sky, stars);
    this.held = {
      handle: ++this.handles,
      frame,
      plane,
      sky,
      stars,
      measurement,
      electronsPerAdu,
      view,
      range,
    };
    const measured: Measured = {
      handle: this.handles,
      report: buildReport({
        file: source.name,
        frame,
        rig: options.rig,
        stars,
        noField,
        trails: found.trails,
        gainTold:
          gain || frame.meta.format === 'JPEG'
            ? null
            : { electronsPerAdu, logSigma: measurement.gainLogSigma },
      }),
      meta: frame.meta,
      stars,
      ...(options.numbersAlone ? NUMBERS_ALONE : this.pictures(plane, stars, measurement)),
      view,
      reading,
      timingMs: clock.finish(),
    };
    return success(measured);
  }

  tile(handle: number, level: number, col: number, row: number): Outcome<Tile> {
    const { held } = this;
    if (!held || held.handle !== handle) return GONE;
    if (!held.view.levels[level]) return failure('internal', `The frame has no level ${level}.`);
    const { low, high } = held.range;
    held.channelSky ??= this.channelSky(held);
    return success(
      renderTile(held.frame, this.kernels.arena, held.channelSky, low, high, { level, col, row }),
    );
  }

  cutout(handle: number, xPx: number, yPx: number, sidePx: number): Outcome<StarCutout> {
    const { held } = this;
    if (!held || held.handle !== handle) return GONE;
    return success(cutoutOf(held.frame, this.kernels.arena, xPx, yPx, sidePx));
  }

  /** Native stamps for the field fit, see measure/stamps.ts. */
  stamps(handle: number, most: number): Outcome<StampSet> {
    const cut = this.cutStamps(handle, { most });
    if (!cut.ok || !this.held) return cut;
    const { stars, frame } = this.held;
    const sizes = sizeScatter(stars, frame.widthPx, frame.heightPx);
    return success({ ...cut.value, nature: { sizes, developed: frame.meta.format === 'JPEG' } });
  }

  /** The stamp of one star of the table. */
  stamp(handle: number, star: number): Outcome<StampSet> {
    return this.cutStamps(handle, { star });
  }

  /** The same stars on the pixels of each colour; null for a monochrome frame. */
  colours(handle: number): Outcome<ColourSummary | null> {
    const { held } = this;
    if (!held || held.handle !== handle) return GONE;
    const { frame, plane, measurement } = held;
    const planes = colourPlanes(frame, plane);
    if (!planes) return success(null);
    const [red, blue] = [planes[0], planes[2]].map((part) => measureColour(part, measurement, this.kernels));
    const green = measuredColour(measurement);
    return success(summariseColours({ red, green, blue }, plane.widthPx, plane.heightPx));
  }

  /** The trails of a frame that tracked for some seconds and then stood; a fault says what is missing. */
  stoppedFrame(handle: number, file: string): Outcome<StoppedFrame> {
    const { held } = this;
    if (!held || held.handle !== handle) return GONE;
    const { widthPx, heightPx, planes, pixels, saturationStored, meta } = held.frame;
    const size = widthPx * heightPx;
    const all = this.kernels.arena[pixels.kind](pixels.address, size * planes);
    const green = planes === 3 ? all.subarray(size, 2 * size) : all;
    const found = stoppedTrails(green, widthPx, heightPx, saturationStored);
    if (!found.ok) return failure('not-a-star-field', found.sentence);
    const { exposureS, pointing } = meta;
    const { declinationDeg = null, pierSide = null } = pointing ?? {};
    return success({ file, widthPx, heightPx, trails: found.value, exposureS, declinationDeg, pierSide });
  }

  private cutStamps(handle: number, which: { most: number } | { star: number }): Outcome<StampSet> {
    const { held } = this;
    if (!held || held.handle !== handle) return GONE;
    const { frame, plane, sky, stars, measurement, electronsPerAdu } = held;
    return success(
      makeStamps(stars, plane, sky, this.kernels, {
        which,
        halfSidePx: Math.max(8, Math.min(24, Math.ceil(measurement.radiusPx))),
        electronsPerAdu,
        scale: frame.scale,
        mosaic: frame.mosaic,
      }),
    );
  }

  /** What the page of one frame shows besides. */
  private pictures(
    plane: Plane,
    stars: StarTable,
    measurement: Measurement,
  ): Pick<Measured, 'fineRegions' | 'meanStars'> {
    const { widthPx, heightPx } = plane;
    const { cols, rows } = fineGridSize(stars.count, widthPx, heightPx);
    const halfSidePx = Math.min(MOST_MEAN_STAR_PX, measurement.radiusPx);
    return {
      fineRegions: gridRegions(stars, widthPx, heightPx, cols, rows),
      meanStars: meanStars(stars, plane, this.kernels, 3, 3, halfSidePx),
    };
  }

  /** Median sky of each colour, so that the viewer can show a grey sky. */
  private channelSky({ frame, plane }: Held): ChannelSky | null {
    const { arena } = this.kernels;
    const level = (part: Plane) => {
      const mark = arena.mark();
      const { levels } = measureSky(part, this.kernels, 256);
      arena.reset(mark);
      return median(levels);
    };
    const planes = colourPlanes(frame, plane);
    if (!planes) return null;
    const [R, G, B] = planes.map(level);
    return { R, G, B };
  }
}

/** The pixels of red, green and blue: sites of a mosaic, or planes of a colour picture. */
function colourPlanes({ mosaic, planes, pixels }: Frame, plane: Plane): Plane[] | null {
  if (mosaic)
    return (['R', 'G', 'B'] as const).map((colour) => ({ ...plane, sites: sitesOf(mosaic, colour) }));
  if (planes === 1) return null;
  const bytes = plane.widthPx * plane.heightPx * (plane.kind === 'u16' ? 2 : 4);
  return [0, 1, 2].map((index) => ({ ...plane, address: pixels.address + index * bytes }));
}

const NUMBERS_ALONE = { fineRegions: [], meanStars: [] };

const NOTHING_FOUND: Detection = {
  candidates: [],
  shape: { xx: 1.5, yy: 1.5, xy: 0 },
  grid: false,
  trails: 0,
};

const tooLarge = (name: string) =>
  failure(
    'too-large',
    `${name} needs more memory than there is to be had. Close other programs or tabs, or crop the frame and try again.`,
  );

const GONE = failure('internal', 'This frame has been replaced by a newer one.');

/** Between two tellings of how far a stage is. */
const LEAST_PAUSE_MS = 40;

/** Which stage runs, how far it is, and how long each took. */
class Stopwatch {
  private readonly times: Partial<Record<Stage, number>> = {};
  private stage: Stage = 'reading';
  private total = 0;
  private since = performance.now();
  private toldAt = -Infinity;

  constructor(private readonly onProgress: OnProgress) {}

  enter(stage: Stage, total: number): void {
    this.finish();
    this.stage = stage;
    this.total = total;
    this.tell(0);
  }

  /** Between the stages' beginnings no more often than the eye follows: each message costs as much as some stars. */
  tell(done: number, total = this.total): void {
    const now = performance.now();
    if (done > 0 && now - this.toldAt < LEAST_PAUSE_MS) return;
    this.toldAt = now;
    this.onProgress({ stage: this.stage, done, total });
  }

  finish(): Partial<Record<Stage, number>> {
    const now = performance.now();
    this.times[this.stage] = (this.times[this.stage] ?? 0) + now - this.since;
    this.since = now;
    return this.times;
  }
}
