import { defineStore } from 'pinia';
import { computed, ref, shallowRef, toRaw } from 'vue';
import type { FitProgress } from '../../workers/protocol/api.ts';
import type { Fault } from '../../workers/protocol/faults.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import {
  LEAST_TOGETHER,
  MOST_TOGETHER,
  type TogetherFrame,
  type TogetherReport,
} from '../../workers/protocol/together.ts';
import { FitClient } from '../client/fit-client.ts';
import { FrameCutter } from '../client/frame-cutter.ts';
import { keyOf } from '../client/frame-files.ts';
import { useAnalysis } from './analysis.ts';

/** A frame of those that are explained together. Its stars are held, never its pixels. */
export interface TogetherItem {
  key: string;
  name: string;
  file: File;
  /** Null until it is measured. */
  cut: TogetherFrame | null;
  /** Why it could not be read. */
  trouble: string | null;
}

/** Several frames of one field, explained together: the first is the one that is asked about. */
export const useTogether = defineStore('together', () => {
  const analysis = useAnalysis();
  const cutter = new FrameCutter();
  const fitter = new FitClient();
  const items = shallowRef<TogetherItem[]>([]);
  const measuring = ref<string | null>(null);
  const progress = shallowRef<FitProgress | null>(null);
  const trouble = shallowRef<Fault | null>(null);
  const report = shallowRef<TogetherReport | null>(null);
  const refused = ref<string | null>(null);
  let latest = 0;

  const subject = computed(() => items.value[0] ?? null);

  /** Begins with the frame on the page. */
  function begin(): void {
    const { current } = analysis;
    if (!current) return;
    clear();
    items.value = [itemOf(current.file, current.demo?.title)];
  }

  /** Begins with frames of a run, the first of them asked about. */
  function beginWith(files: readonly File[]): void {
    clear();
    add(files);
  }

  function add(files: readonly File[]): void {
    const known = new Set(items.value.map(({ key }) => key));
    const fresh = files.map((file) => itemOf(file)).filter(({ key }) => !known.has(key) && known.add(key));
    const room = MOST_TOGETHER - items.value.length;
    refused.value =
      fresh.length > room
        ? `${MOST_TOGETHER} frames at most: ${fresh.length - room} of those given were left aside. More would hardly tell more.`
        : fresh.length < files.length
          ? 'A frame that is already here was given once more: each counts once.'
          : null;
    items.value = [...items.value, ...fresh.slice(0, room)];
    if (fresh.length > 0) void work();
  }

  function leaveOut(key: string): void {
    items.value = items.value.filter((item) => item.key !== key);
    refused.value = null;
    void work();
  }

  /** Measures what is not measured yet, then explains all; a newer call takes over from one under way. */
  async function work(): Promise<void> {
    const run = ++latest;
    stopAsking();
    report.value = null;
    trouble.value = null;
    for (;;) {
      const next = items.value.find(({ cut, trouble: why }) => !cut && !why);
      if (!next) break;
      measuring.value = next.name;
      const choice = next.file === analysis.current?.file ? analysis.current.choice : {};
      const outcome = await cutter.cut(next.file, {
        rig: analysis.rig(),
        told: toRaw(analysis.told),
        choice,
      });
      if (run !== latest) return;
      const found = outcome.ok
        ? { cut: { ...outcome.value, field: fieldOf(next.file) } }
        : { trouble: outcome.fault.message };
      items.value = items.value.map((item) => (item.key === next.key ? { ...item, ...found } : item));
    }
    measuring.value = null;
    cutter.end();
    const cuts = items.value.flatMap(({ cut }) => (cut ? [toRaw(cut)] : []));
    if (cuts.length < LEAST_TOGETHER) return;
    progress.value = { done: 0, doing: 'searching' };
    const rig = { ...UNKNOWN_RIG, ...analysis.rig() };
    const outcome = await fitter.together(cuts, rig, (told) => {
      if (run === latest) progress.value = told;
    });
    if (run !== latest) return;
    progress.value = null;
    if (outcome.ok) report.value = outcome.value;
    else if (outcome.fault.code !== 'cancelled') trouble.value = outcome.fault;
  }

  /** The fit that the frame on the page has already: it need not be made again. */
  const fieldOf = (file: File) =>
    analysis.current?.file === file ? toRaw(analysis.current.explained?.field ?? null) : null;

  function stopAsking(): void {
    cutter.end();
    fitter.stop();
    measuring.value = null;
    progress.value = null;
  }

  /** Ends what is under way; the frames stay and can be taken up again. */
  function stop(): void {
    latest++;
    stopAsking();
  }

  function clear(): void {
    stop();
    items.value = [];
    report.value = null;
    trouble.value = null;
    refused.value = null;
  }

  const usable = computed(() => items.value.filter(({ trouble: why }) => !why).length);
  return {
    items,
    subject,
    usable,
    measuring,
    progress,
    trouble,
    report,
    refused,
    begin,
    beginWith,
    add,
    leaveOut,
    again: () => void work(),
    stop,
    clear,
  };
});

const itemOf = (file: File, title?: string): TogetherItem => ({
  key: keyOf(file),
  name: title ?? file.name,
  file,
  cut: null,
  trouble: null,
});
