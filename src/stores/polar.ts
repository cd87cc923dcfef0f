import { defineStore } from 'pinia';
import { computed, watch } from 'vue';
import type { KeptDrift, PolarSaid } from '../keep/run-shelf.ts';
import { driftOf, fromTwoFields, placedAt, typedDrift } from '../polar/fields.ts';
import { useEarlierRuns } from './earlier-runs.ts';
import { useRunJudgement } from './run-judgement.ts';
import { useRun } from './run.ts';

/** The polar axis from the drifts of two fields: this run's, and an earlier run's or a typed one. */
export const usePolar = defineStore('polar', () => {
  const run = useRun();
  const judged = useRunJudgement();
  const earlier = useEarlierRuns();

  /** This run's field by itself, and with what was said of its place. Null while north is not known. */
  const measured = computed(() => {
    const sky = judged.tracking?.result.sky;
    return sky ? driftOf(sky) : null;
  });
  const at = (drift: KeptDrift, place: PolarSaid['here']) => placedAt(drift, place, judged.site.longitudeDeg);
  const here = computed(() => measured.value && at(measured.value, run.polar.here));

  /** Runs that can be the other field, the one last seen first. */
  const runs = computed(() =>
    earlier.others.flatMap(({ id, name, told, drift }) => (drift ? [{ id, name, told, drift }] : [])),
  );
  /** The other field by itself: what is kept of its run now wins over what was known when it was chosen. */
  const other = computed<KeptDrift | null>(() => {
    const said = run.polar;
    if (said.other === 'typed') return typedDrift(said);
    if (said.other === null || !said.run) return null;
    return runs.value.find(({ id }) => id === said.run!.id)?.drift ?? said.run.drift;
  });
  const there = computed(() => other.value && at(other.value, run.polar.there));
  const answer = computed(
    () => here.value && fromTwoFields(here.value, there.value, judged.site.latitudeDeg),
  );

  // What this run's field did is kept with it, so that the next run can be laid beside it.
  watch([() => judged.tracking, here], () => judged.tracking && run.tellDrift(here.value), {
    immediate: true,
  });

  return { measured, here, runs, other, there, answer };
});
