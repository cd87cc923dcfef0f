import { computed } from 'vue';
import type { ModelShape } from '../../../workers/protocol/model.ts';
import { useAnalysis } from '../../stores/analysis.ts';
import { useModel } from '../../stores/model.ts';
import { useAsked } from '../use-asked.ts';

/** The model's stars on the measured maps' own grid (or `columns` across), and what to say while there are none. */
export function useModelShapes(columns?: number) {
  const analysis = useAnalysis();
  const model = useModel();
  const grid = computed(() => {
    const { fineRegions, view } = analysis.current!.measured;
    const { widthPx, heightPx } = view.levels[0];
    if (columns) return { cols: columns, rows: Math.max(3, Math.round((columns * heightPx) / widthPx)) };
    const { cols, rows } = fineRegions[0] ?? { cols: 3, rows: 3 };
    return { cols, rows };
  });
  const asked = useAsked(() => model.shapes(grid.value.cols, grid.value.rows));
  const shapes = computed<ModelShape[]>(() => asked.answer.value ?? []);
  const waiting = computed(() => {
    if (asked.fault.value) return asked.fault.value.message;
    return model.field ? 'The model is being drawn …' : 'The model stands here once the causes are found.';
  });
  return { grid, shapes, waiting };
}
