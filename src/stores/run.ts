import { defineStore } from 'pinia';
import { computed, ref, shallowRef, triggerRef } from 'vue';
import type { Outcome } from '../../workers/protocol/faults.ts';
import type { RunFrame, RunLimits } from '../../workers/protocol/run.ts';
import { RunPool, workersFor, type RunTask } from '../client/run-pool.ts';
import { keep } from '../keep/keep.ts';
import { RunShelf, type RunAbout } from '../keep/run-shelf.ts';
import { keyOf, mayBeFrame } from '../client/frame-files.ts';
import { useAnalysis } from './analysis.ts';

/** One file of the run. */
export interface RunItem {
  key: string;
  name: string;
  /** Null after the page was opened anew, until the file is dropped or its folder chosen again. */
  file: File | null;
  state: 'waiting' | 'measuring' | 'done';
  frame: RunFrame | null;
}
export type RunPhase = 'empty' | 'measuring' | 'paused' | 'stopped' | 'done';

/** What is drawn follows the frames at this pace, however fast they come. */
const SHOW_MS = 250;
const REMEMBER_MS = 2000;

/** A run of frames: its files, what was measured of them, and what the person said of them. */
export const useRun = defineStore('run', () => {
  const analysis = useAnalysis();
  const shelf = new RunShelf(keep);
  const items = shallowRef(new Map<string, RunItem>());
  const words = shallowRef<RunAbout['words']>({});
  const limits = shallowRef<RunAbout['limits']>({});
  const fit = ref(false);
  const phase = ref<RunPhase>('empty');
  const secondsLeft = ref<number | null>(null);
  /** Whether what is shown came from this browser's memory, from before the page was opened. */
  const recalled = ref(false);
  let pool: RunPool | null = null;
  let runId: Promise<number | null> | null = null;
  let showing: ReturnType<typeof setTimeout> | null = null;
  let remembering: ReturnType<typeof setTimeout> | null = null;
  const listeners: ((key: string, frame: RunFrame) => void)[] = [];

  /** Takes files into the run. Those already measured only get their file back; gives how many are new. */
  function add(files: readonly File[]): number {
    const tasks: RunTask[] = [];
    for (const file of files) {
      if (!mayBeFrame(file)) continue;
      const key = keyOf(file);
      const known = items.value.get(key);
      if (known?.file) continue;
      if (known?.state === 'done') known.file = file;
      else {
        items.value.set(key, { key, name: file.name, file, state: 'waiting', frame: null });
        tasks.push({ key, file });
      }
    }
    if (tasks.length > 0) begin(tasks);
    show();
    return tasks.length;
  }

  function begin(tasks: RunTask[]): void {
    runId ??= shelf.begin(nameOfRun());
    pool ??= makePool(Math.max(...tasks.map(({ file }) => file.size)));
    if (phase.value !== 'paused') phase.value = 'measuring';
    pool.add(tasks);
    remember();
  }

  function makePool(largestBytes: number): RunPool {
    const memory = (navigator as { deviceMemory?: number }).deviceMemory ?? null;
    return new RunPool({
      workers: workersFor(navigator.hardwareConcurrency || 2, memory, largestBytes),
      options: () => ({ rig: analysis.rig(), told: analysis.told, fit: fit.value }),
      onBegin: (key) => {
        const item = items.value.get(key);
        if (item) item.state = 'measuring';
        show();
      },
      onAnswer: answered,
    });
  }

  function answered({ key, file }: RunTask, outcome: Outcome<RunFrame>): void {
    const item = items.value.get(key);
    if (!item) return;
    const frame: RunFrame = outcome.ok
      ? outcome.value
      : {
          format: 1,
          name: file.name,
          sizeBytes: file.size,
          changedMs: file.lastModified,
          record: null,
          fault: outcome.fault,
          sky: null,
        };
    item.state = 'done';
    item.frame = frame;
    void runId!.then((id) => (id === null ? false : shelf.addFrame(id, frame)));
    for (const heed of listeners) heed(key, frame);
    if (pool!.left === 0) phase.value = 'done';
    show();
    remember();
  }

  function pause(): void {
    pool?.pause();
    phase.value = 'paused';
    show();
  }
  function resume(): void {
    phase.value = 'measuring';
    if (pool) pool.resume();
    else begin(waitingTasks());
  }
  /** Ends at once; what was measured stays, and the rest can be taken up again. */
  function stop(): void {
    pool?.stop();
    pool = null;
    for (const item of items.value.values()) if (item.state === 'measuring') item.state = 'waiting';
    phase.value = 'stopped';
    show();
    remember();
  }
  const waitingTasks = (): RunTask[] =>
    [...items.value.values()].flatMap(({ key, file, state }) =>
      state === 'waiting' && file ? [{ key, file }] : [],
    );

  /** Puts the run away and starts with none; forgets it in this browser too if asked. */
  async function clear(forget: boolean): Promise<void> {
    pool?.stop();
    pool = null;
    const id = await runId;
    runId = null;
    items.value = new Map();
    words.value = {};
    recalled.value = false;
    phase.value = 'empty';
    if (forget && id !== null) await shelf.forget(id);
  }

  /** Brings back the newest run that this browser kept, unless one has begun already. */
  async function recall(): Promise<void> {
    if (items.value.size > 0) return;
    const kept = await shelf.newest();
    if (!kept || items.value.size > 0) return;
    runId = Promise.resolve(kept.run.id);
    words.value = kept.about.words;
    limits.value = kept.about.limits;
    for (const frame of kept.frames) {
      const key = keyOf({ name: frame.name, size: frame.sizeBytes, lastModified: frame.changedMs });
      items.value.set(key, { key, name: frame.name, file: null, state: 'done', frame });
      for (const heed of listeners) heed(key, frame);
    }
    for (const key of kept.about.waiting)
      if (!items.value.has(key))
        items.value.set(key, { key, name: key.split('|')[0], file: null, state: 'waiting', frame: null });
    recalled.value = items.value.size > 0;
    phase.value = items.value.size === 0 ? 'empty' : lacking.value > 0 ? 'stopped' : 'done';
    triggerRef(items);
  }

  function say(key: string, word: 'keep' | 'drop' | null): void {
    const rest = { ...words.value };
    delete rest[key];
    words.value = word ? { ...rest, [key]: word } : rest;
    remember();
  }
  /** Null switches a limit off, undefined lets it follow the run again. */
  function limit(name: keyof RunLimits, value: number | null | undefined): void {
    const rest = { ...limits.value };
    delete rest[name];
    limits.value = value === undefined ? rest : { ...rest, [name]: value };
    remember();
  }

  function show(): void {
    showing ??= setTimeout(() => {
      showing = null;
      secondsLeft.value = phase.value === 'measuring' ? (pool?.secondsLeft ?? null) : null;
      triggerRef(items);
    }, SHOW_MS);
  }
  function remember(): void {
    remembering ??= setTimeout(() => {
      remembering = null;
      const about: RunAbout = {
        words: { ...words.value },
        limits: { ...limits.value },
        waiting: [...items.value.values()].filter(({ state }) => state !== 'done').map(({ key }) => key),
      };
      void runId?.then((id) => (id === null ? undefined : shelf.remember(id, about)));
    }, REMEMBER_MS);
  }

  const list = computed(() => [...items.value.values()]);
  const measured = computed(() => list.value.filter(({ state }) => state === 'done').length);
  /** Frames that were waiting when the page was closed: their files have to be given again. */
  const lacking = computed(() => list.value.filter(({ state, file }) => state !== 'done' && !file).length);

  return {
    list,
    measured,
    lacking,
    words,
    limits,
    fit,
    phase,
    secondsLeft,
    recalled,
    add,
    pause,
    resume,
    stop,
    clear,
    recall,
    say,
    limit,
    /** Called for every frame as it is measured or recalled. */
    listen: (heed: (key: string, frame: RunFrame) => void) => void listeners.push(heed),
  };
});

const nameOfRun = (): string => `Run of ${new Date().toISOString().slice(0, 16).replace('T', ' ')} UTC`;
