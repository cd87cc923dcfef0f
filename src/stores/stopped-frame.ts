import { defineStore } from 'pinia';
import { computed, ref, shallowRef, toRaw, watch } from 'vue';
import type { TrackOptions } from '../../workers/protocol/series.ts';
import type { StoppedDrive, StoppedTold } from '../../workers/protocol/stopped-drive.ts';
import { driveOfTrails, onOtherSide } from '../../workers/rig/stopped-drive.ts';
import { FrameCutter } from '../client/frame-cutter.ts';
import type { StoppedSaid } from '../keep/run-shelf.ts';
import { useAnalysis } from './analysis.ts';
import { useEarlierRuns } from './earlier-runs.ts';
import { useRun } from './run.ts';

const NOTHING_TOLD: StoppedTold = { exposureS: null, declinationDeg: null, mirrored: null };

/** The frame beside the run that tracked and then stood: east, north and scale for all frames of the run. */
export const useStoppedFrame = defineStore('stopped-frame', () => {
  const run = useRun();
  const analysis = useAnalysis();
  const cutter = new FrameCutter();
  /** Name of the file that is being looked at. */
  const reading = ref<string | null>(null);
  const trouble = ref<string | null>(null);
  /** What was taken back last, to be brought back. */
  const takenBack = shallowRef<StoppedSaid | null>(null);
  let latest = 0;

  /** The first frame that was measured: its axes are those of the run. */
  const first = computed(
    () => run.list.find(({ frame }) => frame?.record?.report.frame)?.frame?.record ?? null,
  );
  const otherSide = computed(() => {
    const [of, ofRun] = [run.stopped?.frame.pierSide ?? null, first.value?.meta.pointing?.pierSide ?? null];
    return of !== null && ofRun !== null && of !== ofRun;
  });
  const drive = computed<StoppedDrive | null>(() => {
    if (!run.stopped) return null;
    const found = driveOfTrails(run.stopped.frame, run.stopped.told);
    return otherSide.value ? { ...found, orientation: onOtherSide(found.orientation) } : found;
  });
  /** What tracking is told of it. The trails' scale wins over nominal focal lengths, not over a plate solution. */
  const options = computed<TrackOptions>(() => {
    if (!drive.value) return {};
    const { orientation, directionSigmaDeg, arcsecPerPx } = drive.value;
    const solved = Boolean(first.value?.meta.pointing?.arcsecPerPx);
    return {
      orientation,
      orientationSigmaDeg: directionSigmaDeg,
      ...(arcsecPerPx && !solved
        ? { arcsecPerPx: arcsecPerPx.value, arcsecPerPxSigma: arcsecPerPx.sigma }
        : {}),
    };
  });

  /** Frames of this size that earlier runs had beside them, the one last seen first: good while the camera is not turned. */
  const earlier = useEarlierRuns();
  const ofEarlier = computed(() => {
    const size = first.value?.report.frame;
    return earlier.others.flatMap((brief) => {
      const { stopped } = brief;
      const fits =
        stopped && stopped.frame.widthPx === size?.widthPx && stopped.frame.heightPx === size.heightPx;
      return fits ? [{ id: brief.id, name: brief.name, told: brief.told, stopped }] : [];
    });
  });
  function takeOver(stopped: StoppedSaid): void {
    takenBack.value = null;
    trouble.value = null;
    run.orient(stopped);
  }

  /** Looks at the first file that was given; the run's frames are not touched. */
  async function add([file]: readonly File[]): Promise<void> {
    if (!file) return;
    const asked = ++latest;
    reading.value = file.name;
    trouble.value = null;
    const outcome = await cutter.stopped(file, { rig: analysis.rig(), told: toRaw(analysis.told) });
    if (asked !== latest) return;
    reading.value = null;
    cutter.end();
    if (!outcome.ok) {
      trouble.value = outcome.fault.message;
      return;
    }
    const { widthPx, heightPx } = outcome.value;
    const ofRun = first.value?.report.frame;
    if (ofRun && (ofRun.widthPx !== widthPx || ofRun.heightPx !== heightPx))
      trouble.value = `This frame has ${widthPx} × ${heightPx} pixels, those of the run ${ofRun.widthPx} × ${ofRun.heightPx}. Take it with the camera, binning and picture size of the run.`;
    else {
      takenBack.value = null;
      run.orient({
        frame: outcome.value,
        told: { ...NOTHING_TOLD, mirrored: run.stopped?.told.mirrored ?? null },
      });
    }
  }

  function tell(what: Partial<StoppedTold>): void {
    if (run.stopped) run.orient({ frame: run.stopped.frame, told: { ...run.stopped.told, ...what } });
  }
  function takeBack(): void {
    takenBack.value = run.stopped;
    run.orient(null);
  }
  function bringBack(): void {
    run.orient(takenBack.value);
    takenBack.value = null;
  }
  /** Another run, or none: what was asked for this one is of no use. */
  function forget(): void {
    latest++;
    cutter.end();
    reading.value = null;
    trouble.value = null;
    takenBack.value = null;
  }
  watch(
    () => run.list.length === 0,
    (gone) => gone && forget(),
  );

  return {
    reading,
    trouble,
    takenBack,
    first,
    otherSide,
    drive,
    options,
    ofEarlier,
    add,
    tell,
    takeOver,
    takeBack,
    bringBack,
  };
});
