import { defineStore } from 'pinia';
import { computed, shallowRef, toRaw, watch } from 'vue';
import { keyOf as fileKeyOf } from '../client/frame-files.ts';
import { keep } from '../keep/keep.ts';
import { MOST, RECORD_FORMAT, type KeptFrame } from '../keep/schema.ts';
import { Shelf } from '../keep/shelf.ts';
import { useAnalysis, type Analysis } from './analysis.ts';

/**
 * What was found in the last frames. Each measured frame is kept by itself, again when the fit has explained it; the
 * same file measured anew takes the place of its earlier result. Where the browser keeps nothing they are remembered
 * until the page is closed.
 */
export const useEarlier = defineStore('earlier', () => {
  const analysis = useAnalysis();
  const shelf = new Shelf('frames');
  /** Newest first, the one on the page among them. */
  const frames = shallowRef<KeptFrame[]>([]);
  /** The frame on the page as it is kept; null before it is measured, and where it could not be. */
  const current = computed(() => {
    const subject = analysis.current;
    return (subject && frames.value.find(({ fileKey }) => fileKey === keyOf(subject))) ?? null;
  });
  const others = computed(() => frames.value.filter((frame) => frame !== current.value));
  let unkept = 0;
  /** Reading and writing go one after the other. */
  let last: Promise<unknown> = Promise.resolve();
  const inTurn = (work: () => Promise<void>) => (last = last.then(work, work));

  const read = () =>
    inTurn(async () => {
      const here = new Set(frames.value.filter(({ id }) => id < 0));
      frames.value = [...here, ...(await shelf.newest())];
    });
  void read();
  watch(keep.changed, () => {
    frames.value = [];
    void read();
  });
  watch(
    () => analysis.report,
    () => {
      const subject = analysis.current;
      if (subject && !subject.measured.report.fault) void inTurn(() => lay(subject));
    },
    { immediate: true },
  );

  async function lay(subject: Analysis): Promise<void> {
    const { measured, demo } = subject;
    const fresh = {
      fileKey: keyOf(subject),
      demo: demo?.title ?? null,
      startTime: measured.meta.startTime,
      report: toRaw(measured.report),
      meanStars: toRaw(measured.meanStars),
    };
    const same = frames.value.find(({ fileKey }) => fileKey === fresh.fileKey);
    // The fit only adds to what was just measured: the record stays where it lies.
    if (same && same === frames.value[0]) {
      const changed = { ...same, ...fresh };
      if (same.id > 0) await shelf.update(changed);
      frames.value = [changed, ...frames.value.slice(1)];
      return;
    }
    if (same && same.id > 0) await shelf.forget(same.id);
    const id = (await shelf.add(fresh)) ?? --unkept;
    const record: KeptFrame = { ...fresh, id, format: RECORD_FORMAT, keptAtMs: Date.now() };
    frames.value = [record, ...frames.value.filter((frame) => frame !== same)].slice(0, MOST.frames);
  }

  /** Takes one frame out of this browser. */
  function forget(frame: KeptFrame): void {
    void inTurn(async () => {
      if (frame.id > 0) await shelf.forget(frame.id);
      frames.value = frames.value.filter(({ id }) => id !== frame.id);
    });
  }
  /** Brings a forgotten frame back to its place. */
  function restore(frame: KeptFrame): void {
    void inTurn(async () => {
      if (frame.id > 0) await shelf.restore(frame);
      frames.value = [...frames.value, frame].sort((a, b) => b.keptAtMs - a.keptAtMs);
    });
  }

  return { frames, current, others, forget, restore };
});

function keyOf({ file, demo, choice }: Analysis): string {
  const picture = `${choice.unit ?? 0}.${choice.plane ?? 0}`;
  return `${demo ? `demo ${demo.file}` : fileKeyOf(file)} ${picture}`;
}

/** What a kept frame is called. */
export const frameName = (frame: Pick<KeptFrame, 'demo' | 'report'>): string =>
  frame.demo ?? frame.report.file;
