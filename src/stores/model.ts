import { defineStore } from 'pinia';
import { computed, shallowRef, watch } from 'vue';
import { FIT_STAMPS } from '../../workers/protocol/api.ts';
import { failure, type Outcome } from '../../workers/protocol/faults.ts';
import type { FittedField, PictureRequest, Place, RemovablePart } from '../../workers/protocol/model.ts';
import { ModelClient } from '../client/model-client.ts';
import { useAnalysis } from './analysis.ts';

/** The fitted field of the current frame, asked for pictures and numbers; and which of its causes are switched off. */
export const useModel = defineStore('model', () => {
  const analysis = useAnalysis();
  const client = new ModelClient();
  const field = computed(() => analysis.current?.explained?.field ?? null);
  const off = shallowRef<readonly RemovablePart[]>([]);
  watch(
    () => analysis.measurement,
    () => (off.value = []),
  );

  function toggle(part: RemovablePart): void {
    off.value = off.value.includes(part) ? off.value.filter((other) => other !== part) : [...off.value, part];
  }

  /** Asks about the field that is there now; null before a fit. */
  const asking = <T>(ask: (field: FittedField) => Promise<Outcome<T>>) => {
    const frozen = field.value;
    return frozen ? ask(frozen) : null;
  };

  return {
    field,
    off,
    toggle,
    allOn: () => (off.value = []),
    pictures: (request: PictureRequest) => asking((f) => client.ask((api) => api.pictures(f, request))),
    widths: (without: readonly RemovablePart[]) =>
      asking((f) => client.ask((api) => api.widths(f, [...without]))),
    places: (places: Place[], only: RemovablePart | null = null) =>
      asking((f) => client.ask((api) => api.places(f, places, only))),
    shapes: (cols: number, rows: number) => asking((f) => client.ask((api) => api.shapes(f, cols, rows))),
    leftovers: () =>
      asking(async (f) => {
        const frame = analysis.current?.frame;
        if (!frame) return failure('cancelled', 'The frame is gone.');
        const stamps = await analysis.stamps(frame, FIT_STAMPS);
        return stamps.ok ? client.ask((api) => api.leftovers(f, stamps.value)) : stamps;
      }),
    star: (star: number) =>
      asking(async (f) => {
        const frame = analysis.current?.frame;
        if (!frame) return failure('cancelled', 'The frame is gone.');
        const stamp = await analysis.stamp(frame, star);
        return stamp.ok ? client.ask((api) => api.star(f, stamp.value)) : stamp;
      }),
  };
});
