import { onBeforeUnmount, onMounted, ref, watchEffect, type Ref } from 'vue';

/** Calls `draw` with the width that `host` has, again whenever it or anything that `draw` reads changes. */
export function useChart(host: Ref<HTMLElement | null>, draw: (widthPx: number) => void): void {
  const width = ref(0);
  const observer = new ResizeObserver(([entry]) => (width.value = Math.floor(entry.contentRect.width)));
  onMounted(() => {
    if (host.value) observer.observe(host.value);
  });
  onBeforeUnmount(() => observer.disconnect());
  watchEffect(
    () => {
      if (width.value > 40) draw(width.value);
    },
    { flush: 'post' },
  );
}
