import { defineStore } from 'pinia';
import { computed, ref, shallowRef, toRaw, watch } from 'vue';
import type { Fault } from '../../workers/protocol/faults.ts';
import type {
  JudgeOptions,
  RunFocus,
  RunFrame,
  RunJudgement,
  RunTracking,
} from '../../workers/protocol/run.ts';
import { RunClient } from '../client/run-client.ts';
import { settings } from '../keep/settings.ts';
import { useRigs } from '../rig/rigs.ts';
import { useAnalysis } from './analysis.ts';
import { useRun } from './run.ts';
import { useStoppedFrame } from './stopped-frame.ts';

export interface ToldSite {
  latitudeDeg: number | null;
  longitudeDeg: number | null;
}
/** Numbers that a person tells once: they hold for the next runs too. */
interface ToldNumbers {
  trailPx: number | null;
  umPerStep: number | null;
  umPerTurn: number | null;
}
const NO_NUMBERS: ToldNumbers = { trailPx: null, umPerStep: null, umPerTurn: null };
const NO_SITE: ToldSite = { latitudeDeg: null, longitudeDeg: null };

/** Frames come faster than anybody reads: the run is judged anew at most this often. */
const LEAST_MS = 500;
/** While frames are being measured, judging rests so many times as long as it took: they need the cores more. */
const REST = 3;
/** And tracking, which takes longest and is read last. */
const LONG_REST = 8;

/** What the run's frames say together: judged anew as frames come and as the person changes limits. */
export const useRunJudgement = defineStore('run-judgement', () => {
  const run = useRun();
  const rigs = useRigs();
  const analysis = useAnalysis();
  const stopped = useStoppedFrame();
  const judgement = shallowRef<RunJudgement | null>(null);
  const tracking = shallowRef<RunTracking | null>(null);
  const focus = shallowRef<RunFocus | null>(null);
  const numbers = shallowRef<ToldNumbers>({ ...NO_NUMBERS, ...settings.get<ToldNumbers>('run.numbers') });
  const tellNumbers = (what: Partial<ToldNumbers>) => {
    numbers.value = { ...numbers.value, ...what };
    settings.set('run.numbers', numbers.value);
  };
  /** A trail that is still good, px; null = not told. */
  const trailPx = computed({
    get: () => numbers.value.trailPx,
    set: (px: number | null) => tellNumbers({ trailPx: px }),
  });
  /** What one of that which the run's positions count moves the sensor by; null = not told. */
  const focusUm = computed({
    get: () => numbers.value[run.focusUnit === 'steps' ? 'umPerStep' : 'umPerTurn'],
    set: (um: number | null) => tellNumbers({ [run.focusUnit === 'steps' ? 'umPerStep' : 'umPerTurn']: um }),
  });
  const trouble = shallowRef<Fault | null>(null);
  const selected = ref<string | null>(null);
  const told = shallowRef<ToldSite>(settings.get<ToldSite>('site') ?? NO_SITE);
  const client = new RunClient(() => run.list.flatMap(({ key, frame }) => (frame ? [[key, frame]] : [])));
  const focusTrouble = shallowRef<Fault | null>(null);
  let asking = false;
  let following = false;
  let followAgain = false;
  let again = false;
  let judgedMs = 0;
  let timer: ReturnType<typeof setTimeout> | null = null;

  /** What was told wins, then the rig's sheet, then the files. */
  const site = computed<ToldSite>(() => {
    const file = run.list.find(({ frame }) => frame?.record?.meta.pointing)?.frame?.record?.meta.pointing;
    return {
      latitudeDeg: told.value.latitudeDeg ?? rigs.chosen?.latitudeDeg ?? file?.latitudeDeg ?? null,
      longitudeDeg: told.value.longitudeDeg ?? file?.longitudeDeg ?? null,
    };
  });
  function tellSite(what: Partial<ToldSite>): void {
    told.value = { ...told.value, ...what };
    settings.set('site', told.value);
  }

  run.listen((key: string, frame: RunFrame) => {
    client.put(key, toRaw(frame));
    soon();
  });
  watch([() => run.limits, () => run.words, () => run.positions, site], () => void judge());
  watch([trailPx, focusUm, site, () => stopped.options], () => void follow());
  watch(
    () => run.list.length,
    (length) => {
      if (length > 0) return;
      client.forget();
      judgement.value = null;
      tracking.value = null;
      focus.value = null;
      selected.value = null;
    },
  );

  function soon(): void {
    const restMs = run.phase === 'measuring' ? REST * judgedMs : 0;
    timer ??= setTimeout(
      () => {
        timer = null;
        void judge();
      },
      Math.max(LEAST_MS, restMs),
    );
  }

  /** One question at a time; what changed meanwhile is asked when the answer is there. */
  async function judge(): Promise<void> {
    if (asking) {
      again = true;
      return;
    }
    if (run.measured === 0) return;
    asking = true;
    const began = performance.now();
    const options: JudgeOptions = {
      ...site.value,
      limits: { ...run.limits },
      words: { ...run.words },
      positions: { ...run.positions },
    };
    const outcome = await client.ask((api) => api.judge(options));
    if (outcome.ok && run.list.length > 0) {
      judgement.value = outcome.value;
      tell();
    }
    trouble.value = outcome.ok || outcome.fault.code === 'cancelled' ? null : outcome.fault;
    judgedMs = performance.now() - began;
    asking = false;
    if (again) {
      again = false;
      soon();
    } else void follow();
  }

  /** The run in a line, for the list of runs. */
  function tell(): void {
    const points = judgement.value?.points ?? [];
    if (points.length === 0) return;
    run.tellAs({
      headline: focus.value?.result.headline ?? judgement.value!.headline,
      fromMs: points[0].timeMs,
      toMs: points[points.length - 1].timeMs,
      firstFile: run.list.find(({ key }) => key === points[0].key)?.name ?? '',
      measured: points.length,
    });
  }

  /**
   * Tracking and focus take longer than the judgement, up to seconds in long runs: one question at a time, then a rest, so
   * that judging and measuring have most of the time; the next one with the newest frames, at once when the last is in.
   */
  async function follow(): Promise<void> {
    if (following) {
      followAgain = true;
      return;
    }
    if (run.measured < 2) return;
    following = true;
    const began = performance.now();
    await askFollowed();
    await rested(LONG_REST * (performance.now() - began));
    following = false;
    if (!followAgain) return;
    followAgain = false;
    void follow();
  }

  /** Waits so long, or until the last frame is measured. */
  async function rested(ms: number): Promise<void> {
    const until = performance.now() + ms;
    while (run.phase === 'measuring' && performance.now() < until)
      await new Promise((slept) => setTimeout(slept, LEAST_MS));
  }

  async function askFollowed(): Promise<void> {
    const { latitudeDeg, longitudeDeg } = site.value;
    const steps = { focusUmPerStep: focusUm.value };
    const told = analysis.rig();
    const focalRatio = told.focalLengthMm && told.apertureMm ? told.focalLengthMm / told.apertureMm : null;
    const [tracked, focused] = [
      await client.ask((api) =>
        api.track({
          latitudeDeg,
          longitudeDeg,
          ...steps,
          ...(trailPx.value ? { limitPx: trailPx.value } : {}),
          ...stopped.options,
        }),
      ),
      await client.ask((api) =>
        api.focus(
          {
            ...steps,
            focalRatio,
            obstruction: told.obstruction ?? null,
            pixelSizeUm: told.pixelSizeUm ?? null,
          },
          { ...run.positions },
        ),
      ),
    ];
    if (run.list.length === 0) return;
    if (tracked.ok) tracking.value = tracked.value;
    focus.value = focused.ok ? focused.value : null;
    tell();
    focusTrouble.value = focused.ok || focused.fault.code === 'cancelled' ? null : focused.fault;
  }

  if (run.measured > 0) soon();

  return {
    judgement,
    tracking,
    focus,
    focusTrouble,
    trailPx,
    focusUm,
    trouble,
    selected,
    site,
    told,
    tellSite,
  };
});
