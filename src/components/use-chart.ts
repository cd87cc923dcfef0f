import { onBeforeUnmount, ref, watch, watchEffect, type Ref } from 'vue';

/** Calls `draw` with the width that `host` has, again whenever it or anything that `draw` reads changes. */
export function useChart(host: Ref<HTMLElement | null>, draw: (widthPx: number) => void): void {
  const width = ref(0);
  const observer = new ResizeObserver(([entry]) => (width.value = Math.floor(entry.contentRect.width)));
  // A host may come later than its component, and go again.
  watch(
    host,
    (element) => {
      observer.disconnect();
      width.value = 0;
      if (element) observer.observe(element);
    },
    { immediate: true, flush: 'post' },
  );
  onBeforeUnmount(() => observer.disconnect());
  watchEffect(
    () => {
      if (width.value > 40) draw(width.value);
    },
    { flush: 'post' },
  );
}
