import { defineStore } from 'pinia';
import { computed, ref, shallowRef } from 'vue';
import type { Measured, Physics, Progress } from '../../workers/protocol/api.ts';
import type { DemoFrame } from '../../workers/protocol/demo.ts';
import type { Fault, Outcome } from '../../workers/protocol/faults.ts';
import type { PictureChoice, Told, ToldOfKind } from '../../workers/protocol/reading.ts';
import type { Rig } from '../../workers/protocol/rig.ts';
import { fetchDemo, listDemos } from '../client/demos.ts';
import { FrameClient, type FrameRef } from '../client/frame-client.ts';
import { settings } from '../keep/settings.ts';

/** A frame that was measured, with the file it came from: the pixels can be had again from there. */
export interface Analysis {
  file: File;
  demo: DemoFrame | null;
  /** Which picture of the file it is; its first where nobody chose. */
  choice: PictureChoice;
  frame: FrameRef;
  measured: Measured;
  /** What the fit left for whoever asks more of its model; null until it is there. */
  explained: Pick<Physics, 'field' | 'advice' | 'round'> | null;
}

export interface Running {
  fileName: string;
  progress: Progress | null;
}

/** What is being measured, what was measured last, and what went wrong; a failure never removes a result. */
export const useAnalysis = defineStore('analysis', () => {
  const client = new FrameClient();
  const demos = shallowRef<DemoFrame[]>([]);
  const current = shallowRef<Analysis | null>(null);
  const running = shallowRef<Running | null>(null);
  const trouble = shallowRef<{ fileName: string; fault: Fault } | null>(null);
  /** Counts fresh measurements, so that others may follow them. */
  const measurement = ref(0);
  /** What was told of files that cannot say it themselves, by their kind. */
  const told = shallowRef<Told>(settings.get<Told>('told') ?? {});
  let rig: Partial<Rig> = {};
  let latest = 0;
  let stop: AbortController | null = null;
  /** The frame whose pixels are being read again. */
  let missed: FrameRef | null = null;

  /** Warms the worker up and opens the first demo frame, unless somebody was faster with a frame of theirs. */
  async function begin(): Promise<void> {
    void client.warmUp();
    const list = await listDemos();
    if (list.ok) demos.value = list.value;
    if (latest > 0) return;
    if (list.ok && list.value[0]) await openDemo(list.value[0]);
    else if (!list.ok) trouble.value = { fileName: 'the demo frame', fault: list.fault };
  }

  async function openDemo(demo: DemoFrame): Promise<void> {
    const run = start(demo.title);
    const file = await fetchDemo(demo);
    if (run !== latest) return;
    if (file.ok) await measure(run, file.value, demo);
    else settle({ fileName: demo.title, fault: file.fault });
  }

  async function openFile(file: File): Promise<void> {
    await measure(start(file.name), file, null);
  }

  /** Remembers what was told of files of the current one's kind, and measures it with that. */
  async function tell(what: ToldOfKind): Promise<void> {
    told.value = { ...told.value, [current.value!.measured.reading.kind]: { ...what } };
    settings.set('told', told.value);
    await again(current.value!.choice);
  }

  /** Measures the current file again: another picture of it, or with what was told meanwhile. */
  async function again(choice: PictureChoice): Promise<void> {
    const { file, demo } = current.value!;
    await measure(start(demo?.title ?? file.name), file, demo, choice);
  }

  function cancel(): void {
    if (!running.value) return;
    latest++;
    stop?.abort();
    settle(null);
    void client.warmUp();
  }

  /**
   * Asks the worker about the pixels of a frame. After a cancelled, refused or broken run it holds none: then they are
   * read again, out of sight, and the frame gets a new reference; once for each time they are lost.
   */
  async function askPixels<T>(
    frame: FrameRef,
    ask: (frame: FrameRef) => Promise<Outcome<T>>,
  ): Promise<Outcome<T>> {
    const answer = await ask(frame);
    if (!answer.ok && frame === current.value?.frame && frame !== missed) {
      missed = frame;
      void restorePixels(current.value);
    }
    return answer;
  }

  async function restorePixels({ file, choice }: Analysis): Promise<void> {
    if (running.value) {
      missed = null;
      return;
    }
    const run = latest;
    const outcome = await client.measure(file, { rig, told: told.value, choice }, () => {});
    // Only where the pixels lie is new: what was measured and found out since then stays.
    if (run === latest && current.value?.file === file && outcome.ok)
      current.value = { ...current.value, frame: outcome.value.frame };
  }

  function start(fileName: string): number {
    stop?.abort();
    stop = new AbortController();
    running.value = { fileName, progress: null };
    trouble.value = null;
    return ++latest;
  }

  async function measure(
    run: number,
    file: File,
    demo: DemoFrame | null,
    choice: PictureChoice = {},
  ): Promise<void> {
    const heed = (progress: Progress) => {
      if (run === latest) running.value = { fileName: demo?.title ?? file.name, progress };
    };
    const ask = () => client.measure(file, { rig, told: told.value, choice }, heed, stop!.signal);
    let outcome = await ask();
    if (run !== latest) return;
    // A worker that broke down is replaced, and what it was at is tried once more before anybody is troubled.
    if (!outcome.ok && outcome.fault.code === 'internal') outcome = await ask();
    if (run !== latest) return;
    if (outcome.ok) {
      current.value = { file, demo, choice, ...outcome.value, explained: null };
      measurement.value++;
    }
    settle(outcome.ok ? null : { fileName: demo?.title ?? file.name, fault: outcome.fault });
  }

  /** What the fit found out about a frame joins its report, if that frame is still the one on the page. */
  function addPhysics(file: File, { warnings, field, advice, round, ...parts }: Physics): void {
    const subject = current.value;
    if (!subject || subject.file !== file) return;
    const { report } = subject.measured;
    const told = { ...report, ...parts, warnings: [...report.warnings, ...warnings] };
    current.value = {
      ...subject,
      measured: { ...subject.measured, report: told },
      explained: { field, advice, round },
    };
  }

  function settle(what: { fileName: string; fault: Fault } | null): void {
    running.value = null;
    trouble.value = what;
  }

  return {
    demos,
    current,
    running,
    trouble,
    report: computed(() => current.value?.measured.report ?? null),
    begin,
    openDemo,
    openFile,
    told,
    tell,
    choose: again,
    cancel,
    dismissTrouble: () => settle(null),
    /** What cannot even be begun is told where the faults of frames are; a run goes on. */
    refuse: (fileName: string, fault: Fault) => (trouble.value = { fileName, fault }),
    tellRig: (told: Partial<Rig>) => (rig = told),
    measurement,
    addPhysics,
    rig: () => rig,
    stamps: (frame: FrameRef, most: number) => askPixels(frame, (held) => client.stamps(held, most)),
    stamp: (frame: FrameRef, star: number) => askPixels(frame, (held) => client.stamp(held, star)),
    colours: (frame: FrameRef) => askPixels(frame, (held) => client.colours(held)),
    tile: (frame: FrameRef, level: number, col: number, row: number) =>
      askPixels(frame, (held) => client.tile(held, level, col, row)),
    cutout: (frame: FrameRef, xPx: number, yPx: number, sidePx: number) =>
      askPixels(frame, (held) => client.cutout(held, xPx, yPx, sidePx)),
  };
});
