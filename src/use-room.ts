import { onBeforeUnmount, ref, watch, type Ref } from 'vue';
import { useAnalysis } from './stores/analysis.ts';

/** The rooms of the page: the frame (no word in the address), the rig, a run of frames. */
const ROOMS = ['rig', 'night'] as const;
export type Room = 'frame' | (typeof ROOMS)[number];

const roomOf = (hash: string): Room => ROOMS.find((room) => hash === `#${room}`) ?? 'frame';

/** Which room is shown: its place in the address, so that "back" works as everywhere. */
export function useRoom(): Ref<Room> {
  const analysis = useAnalysis();
  const shown = ref(roomOf(location.hash));
  const look = () => (shown.value = roomOf(location.hash));
  addEventListener('hashchange', look);
  onBeforeUnmount(() => removeEventListener('hashchange', look));
  // A frame that somebody opens is what they want to see; the one that the page opens by itself is not.
  watch(
    () => analysis.running?.fileName,
    (opened) => {
      if (opened && analysis.current && shown.value !== 'frame') location.hash = '';
    },
  );
  return shown;
}
