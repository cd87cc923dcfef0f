import { computed } from 'vue';
import type { RemovablePart } from '../../../workers/protocol/model.ts';
import { useAnalysis } from '../../stores/analysis.ts';
import { useModel } from '../../stores/model.ts';
import { PART_WORDS } from '../../story/blur-parts.ts';
import { leadingParts } from '../../story/causes.ts';

/** What the comparison leaves out: what was switched off, else the leading cause; and how to say that. */
export function useLeftOut() {
  const analysis = useAnalysis();
  const model = useModel();
  const parts = computed<readonly RemovablePart[]>(() =>
    model.off.length ? model.off : leadingParts(analysis.report!),
  );
  const words = computed(() => {
    const cause = analysis.report?.verdict?.cause;
    if (model.off.length === 0 && (cause === 'coma' || cause === 'trailing' || cause === 'rotation'))
      return PART_WORDS[cause].name.toLowerCase();
    const names = parts.value.map((part) => PART_WORDS[part].name.toLowerCase());
    return names.length < 2 ? (names[0] ?? '') : `${names.slice(0, -1).join(', ')} and ${names.at(-1)}`;
  });
  return { parts, words };
}
