import { defineStore } from 'pinia';
import { computed, ref } from 'vue';
import { setBeside } from '../compare/beside.ts';
import type { KeptFrame } from '../keep/schema.ts';
import { useEarlier } from './earlier.ts';

/** The frame on the page beside an earlier one: the last of the same kind, unless somebody chose another. */
export const useBeside = defineStore('beside', () => {
  const earlier = useEarlier();
  const openedMs = Date.now();
  const chosenId = ref<number | null>(null);
  const after = computed(() => earlier.current);
  /** Somebody's own frame of the same size is the "before" of their next; demo frames among themselves, in one sitting. */
  const fits = (frame: KeptFrame) =>
    after.value !== null &&
    sameSize(frame, after.value) &&
    (frame.demo === null) === (after.value.demo === null) &&
    (frame.demo === null || frame.keptAtMs >= openedMs);
  const automatic = computed(() => earlier.others.find(fits) ?? null);
  const before = computed(
    () => earlier.others.find(({ id }) => id === chosenId.value) ?? automatic.value ?? null,
  );
  const result = computed(() =>
    before.value && after.value
      ? setBeside(before.value.report, after.value.report, {
          before: before.value.startTime,
          after: after.value.startTime,
        })
      : null,
  );
  return {
    before,
    after,
    result,
    /** Whether there is any frame to compare with. */
    possible: computed(() => after.value !== null && earlier.others.length > 0),
    choose: (id: number | null) => (chosenId.value = id),
  };
});

const sameSize = (a: KeptFrame, b: KeptFrame): boolean =>
  a.report.frame?.widthPx === b.report.frame?.widthPx &&
  a.report.frame?.heightPx === b.report.frame?.heightPx;
