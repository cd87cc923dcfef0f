import { defineStore } from 'pinia';
import { ref, shallowRef, toRaw, watch } from 'vue';
import { FIT_STAMPS, type FitProgress } from '../../workers/protocol/api.ts';
import type { Fault } from '../../workers/protocol/faults.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import { FitClient } from '../client/fit-client.ts';
import { useAnalysis } from './analysis.ts';

/**
 * Why the stars are not round: after each measurement the field is fitted in a worker of its own, and the report gains
 * its model, budget, causes and verdict. The measurement stands meanwhile and whatever happens here.
 */
export const useExplanation = defineStore('explanation', () => {
  const analysis = useAnalysis();
  const client = new FitClient();
  const progress = shallowRef<FitProgress | null>(null);
  const trouble = shallowRef<Fault | null>(null);
  const explained = ref(0);
  let latest = 0;

  watch(
    () => analysis.measurement,
    () => void explain(),
    { immediate: true },
  );

  async function explain(): Promise<void> {
    const run = ++latest;
    client.stop();
    progress.value = null;
    trouble.value = null;
    const subject = analysis.current;
    if (!subject || subject.measured.report.fault) return;
    progress.value = { done: 0, doing: 'searching' };
    const stamps = await analysis.stamps(subject.frame, FIT_STAMPS);
    if (run !== latest) return;
    const report = toRaw(subject.measured.report);
    const outcome = stamps.ok
      ? await client.fit(stamps.value, report, { ...UNKNOWN_RIG, ...analysis.rig() }, (told) => {
          if (run === latest) progress.value = told;
        })
      : stamps;
    if (run !== latest) return;
    progress.value = null;
    if (outcome.ok) {
      analysis.addPhysics(subject.file, outcome.value);
      explained.value++;
    } else if (outcome.fault.code !== 'cancelled') trouble.value = outcome.fault;
  }

  function stop(): void {
    latest++;
    client.stop();
    progress.value = null;
  }

  return { progress, trouble, explained, stop, again: () => void explain() };
});
