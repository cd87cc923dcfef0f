import { onBeforeUnmount, ref, watch, type Ref } from 'vue';
import { useAnalysis } from '../stores/analysis.ts';

const PLACE = '#rig';

/** Whether the rig is shown instead of the frame: its place in the address, so that "back" works as everywhere. */
export function useRigShown(): Ref<boolean> {
  const analysis = useAnalysis();
  const shown = ref(location.hash === PLACE);
  const look = () => (shown.value = location.hash === PLACE);
  addEventListener('hashchange', look);
  onBeforeUnmount(() => removeEventListener('hashchange', look));
  // A frame that somebody opens is what they want to see; the one that the page opens by itself is not.
  watch(
    () => analysis.running?.fileName,
    (opened) => {
      if (opened && analysis.current && shown.value) location.hash = '';
    },
  );
  return shown;
}
