import { computed, type ComputedRef } from 'vue';
import { plain } from '../format/quantity.ts';
import { useAnalysis } from '../stores/analysis.ts';
import { usePreferences } from '../stores/preferences.ts';

/** The sensor of the current frame and how its size is written beside a map. */
export function useSensor(): ComputedRef<{ widthPx: number; heightPx: number; sizeText: string }> {
  const analysis = useAnalysis();
  const preferences = usePreferences();
  return computed(() => {
    const { widthPx, heightPx } = analysis.current!.measured.view.levels[0];
    const mm = (px: number) => plain((px * preferences.scale.umPerPx!) / 1000, 1);
    const inMm = preferences.scale.umPerPx ? ` (${mm(widthPx)} × ${mm(heightPx)} mm)` : '';
    return { widthPx, heightPx, sizeText: `${widthPx} × ${heightPx} px${inMm}` };
  });
}
