import { computed } from 'vue';
import { roundMark } from '../stars/round-mark.ts';
import { useAnalysis } from '../stores/analysis.ts';
import { usePreferences } from '../stores/preferences.ts';
import { circleWords } from '../story/round-circle.ts';
import { useSensor } from './use-sensor.ts';

/** The circle inside which coma does not show, to be drawn over the frame and its maps, and the sentence to it. */
export function useRoundCircle() {
  const analysis = useAnalysis();
  const preferences = usePreferences();
  const sensor = useSensor();
  const round = computed(() => analysis.current?.explained?.round ?? null);
  const mark = computed(() => roundMark(round.value, sensor.value));
  const words = computed(() =>
    circleWords(round.value, mark.value, analysis.report!, preferences.unit, preferences.scale),
  );
  return { mark, words };
}
