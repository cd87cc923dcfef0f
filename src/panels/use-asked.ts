import { ref, shallowRef, watchEffect, type Ref, type ShallowRef } from 'vue';
import type { Fault, Outcome } from '../../workers/protocol/faults.ts';

export interface Asked<T> {
  answer: ShallowRef<T | null>;
  fault: ShallowRef<Fault | null>;
  waiting: Ref<boolean>;
}

/**
 * The newest answer to a question, which is asked anew whenever what it reads changes. The last answer stays until the
 * next is there; a question that cannot be asked (null) has none.
 */
export function useAsked<T>(ask: () => Promise<Outcome<T>> | null): Asked<T> {
  const answer = shallowRef<T | null>(null);
  const fault = shallowRef<Fault | null>(null);
  const waiting = ref(false);
  let latest = 0;
  watchEffect(() => {
    const run = ++latest;
    const asked = ask();
    waiting.value = asked !== null;
    if (!asked) answer.value = null;
    void asked?.then((outcome) => {
      if (run !== latest) return;
      waiting.value = false;
      answer.value = outcome.ok ? outcome.value : null;
      fault.value = outcome.ok ? null : outcome.fault;
    });
  });
  return { answer, fault, waiting };
}
