import { defineStore } from 'pinia';
import { computed, nextTick, ref, shallowRef, triggerRef } from 'vue';
import type { Outcome } from '../../workers/protocol/faults.ts';
import type { RunFrame } from '../../workers/protocol/run.ts';
import { RunPool, workersFor, type RunTask } from '../client/run-pool.ts';
import { keep } from '../keep/keep.ts';
import { settings } from '../keep/settings.ts';
import { RunMemory } from '../keep/run-memory.ts';
import { RunShelf, type KeptDrift, type KeptWhole, type RunTold } from '../keep/run-shelf.ts';
import { keyOf, mayBeFrame } from '../client/frame-files.ts';
import { useAnalysis } from './analysis.ts';
import { runSaid } from './run-said.ts';

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

/** A run of frames: its files, what was measured of them, and what the person said of them. */
export const useRun = defineStore('run', () => {
  const analysis = useAnalysis();
  const shelf = new RunShelf(keep);
  const items = shallowRef(new Map<string, RunItem>());
  const said = runSaid(() => memory.remember('now'));
  /** Whether each frame is fitted as well: why its stars are not round. Holds for the next runs too. */
  const fit = ref(settings.get<boolean>('run.deeper') ?? false);
  const phase = ref<RunPhase>('empty');
  const secondsLeft = ref<number | null>(null);
  /** Whether what is shown came from this browser's memory, from before the page was opened. */
  const recalled = ref(false);
  let pool: RunPool | null = null;
  let showing: ReturnType<typeof setTimeout> | null = null;
  /** Number under which the run is kept. */
  const keptId = ref<number | null>(null);
  let told: RunTold | null = null;
  let drift: KeptDrift | null = null;
  /** Files that were given since the page was opened, also of runs that were put away. */
  const given = new Map<string, File>();
  const memory = new RunMemory(shelf, () => ({
    ...said.plain(),
    told,
    drift,
    waiting: list.value.filter(({ state }) => state !== 'done').map(({ key }) => key),
  }));
  document.addEventListener('visibilitychange', () => document.hidden && memory.hurry());
  const listeners: ((key: string, frame: RunFrame) => void)[] = [];

  /** Takes files into the run. Those already measured only get their file back; gives how many are new. */
  function add(files: readonly File[]): number {
    const tasks: RunTask[] = [];
    for (const file of files) {
      if (!mayBeFrame(file)) continue;
      const key = keyOf(file);
      given.set(key, file);
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
    memory.begin(nameOfRun());
    void memory.id.then((id) => (keptId.value = id));
    pool ??= makePool(Math.max(...tasks.map(({ file }) => file.size)));
    if (phase.value !== 'paused') phase.value = 'measuring';
    pool.add(tasks);
    memory.remember('by-and-by');
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
    memory.add(frame);
    for (const heed of listeners) heed(key, frame);
    if (pool!.left === 0) phase.value = 'done';
    show();
    memory.remember('by-and-by');
  }

  function lookDeeper(on: boolean): void {
    fit.value = on;
    settings.set('run.deeper', on);
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
    memory.remember('now');
  }
  const waitingTasks = (): RunTask[] =>
    [...items.value.values()].flatMap(({ key, file, state }) =>
      state === 'waiting' && file ? [{ key, file }] : [],
    );

  /** Puts the run away and starts with none; forgets it in this browser too if asked. */
  async function clear(forget: boolean): Promise<void> {
    pool?.stop();
    pool = null;
    const gone = memory.letGo(forget);
    items.value = new Map();
    said.forget();
    told = null;
    drift = null;
    recalled.value = false;
    phase.value = 'empty';
    const last = keptId.value;
    await gone;
    // Only now does the list show it, as it was written last.
    if (keptId.value === last) keptId.value = null;
  }

  /** Brings back the run that was on the page last, unless one has begun already. */
  async function recall(): Promise<void> {
    if (items.value.size > 0) return;
    const kept = await shelf.newest();
    if (kept && items.value.size === 0) showKept(kept);
  }
  /** Puts the run away and takes an earlier one; gives whether that was still there. */
  async function open(runId: number): Promise<boolean> {
    const kept = await shelf.get(runId);
    if (!kept) return false;
    await clear(false);
    // Those who listen must hear that the one is gone before the other comes.
    await nextTick();
    showKept(kept);
    return true;
  }
  function showKept({ id, about, frames }: KeptWhole): void {
    keptId.value = id;
    said.take(about);
    told = about.told;
    drift = about.drift;
    const file = (key: string) => given.get(key) ?? null;
    for (const frame of frames) {
      const key = keyOf({ name: frame.name, size: frame.sizeBytes, lastModified: frame.changedMs });
      items.value.set(key, { key, name: frame.name, file: file(key), state: 'done', frame });
      for (const heed of listeners) heed(key, frame);
    }
    for (const key of about.waiting)
      if (!items.value.has(key))
        items.value.set(key, {
          key,
          name: key.split('|')[0],
          file: file(key),
          state: 'waiting',
          frame: null,
        });
    recalled.value = items.value.size > 0;
    triggerRef(items);
    phase.value = items.value.size === 0 ? 'empty' : measured.value < items.value.size ? 'stopped' : 'done';
    memory.adopt(id);
  }

  /** What the run says, for the list of runs. */
  function tellAs(what: RunTold): void {
    if (JSON.stringify(what) === JSON.stringify(told)) return;
    told = what;
    memory.remember('by-and-by');
  }
  /** How fast its field drifts, for a run of another field. */
  function tellDrift(what: KeptDrift | null): void {
    if (JSON.stringify(what) === JSON.stringify(drift)) return;
    drift = what;
    memory.remember('by-and-by');
  }

  function show(): void {
    showing ??= setTimeout(() => {
      showing = null;
      secondsLeft.value = phase.value === 'measuring' ? (pool?.secondsLeft ?? null) : null;
      triggerRef(items);
    }, SHOW_MS);
  }
  const list = computed(() => [...items.value.values()]);
  const measured = computed(() => list.value.filter(({ state }) => state === 'done').length);
  /** Frames that were waiting when the page was closed: their files have to be given again. */
  const lacking = computed(() => list.value.filter(({ state, file }) => state !== 'done' && !file).length);

  return {
    list,
    measured,
    lacking,
    ...said.state,
    keptId,
    fit,
    phase,
    secondsLeft,
    recalled,
    add,
    lookDeeper,
    pause,
    resume,
    stop,
    clear,
    recall,
    open,
    ...said.hands,
    tellAs,
    tellDrift,
    /** Called for every frame as it is measured or recalled. */
    listen: (heed: (key: string, frame: RunFrame) => void) => void listeners.push(heed),
  };
});

const nameOfRun = (): string => `Run of ${new Date().toISOString().slice(0, 16).replace('T', ' ')} UTC`;
