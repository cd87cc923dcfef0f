import { defineStore } from 'pinia';
import { computed, shallowRef, watch } from 'vue';
import { keep } from '../keep/keep.ts';
import { RunShelf, type RunBrief } from '../keep/run-shelf.ts';
import { useRun } from './run.ts';

/** The runs that this browser keeps, to be opened again or forgotten. */
export const useEarlierRuns = defineStore('earlier-runs', () => {
  const run = useRun();
  const shelf = new RunShelf(keep);
  const all = shallowRef<RunBrief[]>([]);
  /** The run that was on the page when the list was read: it was being written then. */
  const unfinished = shallowRef<number | null>(null);
  /** All but the one on the page, the one last seen first. */
  const others = computed(() => all.value.filter(({ id }) => id !== run.keptId && id !== unfinished.value));
  /** What was forgotten last, and the way back. */
  const forgotten = shallowRef<{ brief: RunBrief; restore: () => Promise<void> } | null>(null);
  const gone = shallowRef(false);

  const read = async () => {
    const onPage = run.keptId;
    const list = await shelf.list();
    [all.value, unfinished.value] = [list, onPage];
  };
  watch([keep.changed, () => run.keptId], read, { immediate: true });

  async function open({ id }: RunBrief): Promise<void> {
    gone.value = !(await run.open(id));
    await read();
  }
  async function forget(brief: RunBrief): Promise<void> {
    const restore = await shelf.forget(brief.id);
    forgotten.value = restore && { brief, restore };
    await read();
  }
  async function bringBack(): Promise<void> {
    await forgotten.value?.restore();
    forgotten.value = null;
    await read();
  }

  return { others, forgotten, gone, open, forget, bringBack, read };
});
