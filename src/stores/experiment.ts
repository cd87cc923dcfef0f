import { defineStore } from 'pinia';
import { computed, ref, shallowRef, toRaw } from 'vue';
import { judgeExperiment } from '../../workers/experiments/judge.ts';
import type { Judgement, LearnedScrew, Told } from '../../workers/protocol/experiment.ts';
import type { Experiment, FrameReport } from '../../workers/protocol/report.ts';
import { keyOf } from '../client/frame-files.ts';
import { RunPool } from '../client/run-pool.ts';
import { useAnalysis } from './analysis.ts';

/** A frame taken for the experiment: measured, or the reason why not. */
export interface ExperimentFrame {
  key: string;
  name: string;
  report: FrameReport | null;
  trouble: string | null;
}

/** One experiment: the frame that could not decide stays the subject, whatever is opened meanwhile. */
export const useExperiment = defineStore('experiment', () => {
  const analysis = useAnalysis();
  const subject = shallowRef<{ name: string; file: File; report: FrameReport } | null>(null);
  const kind = ref<Experiment>('more-frames');
  const told = shallowRef<Told>({});
  const frames = shallowRef<ExperimentFrame[]>([]);
  const measuring = ref(0);
  /** What screws were found to do, kept from one turn to the next. */
  const learned = shallowRef<LearnedScrew[]>([]);
  let pool: RunPool | null = null;

  /** Begins with the frame on the page. */
  function begin(experiment: Experiment): void {
    const { current, report } = analysis;
    if (!current || !report) return;
    clear();
    subject.value = { name: current.demo?.title ?? report.file, file: current.file, report: toRaw(report) };
    choose(experiment);
  }

  function choose(experiment: Experiment): void {
    if (kind.value !== experiment) told.value = {};
    kind.value = experiment;
  }
  const tell = (what: Partial<Told>) => (told.value = { ...told.value, ...what });

  /** Measures the frames taken; the frame on the page stays. The middle of coma needs the fit as well. */
  function add(files: readonly File[]): void {
    const known = new Set(frames.value.map(({ key }) => key));
    const tasks = files.map((file) => ({ key: keyOf(file), file })).filter(({ key }) => !known.has(key));
    if (tasks.length === 0) return;
    pool ??= new RunPool({
      workers: 1,
      options: () => ({ rig: analysis.rig(), told: analysis.told, fit: kind.value === 'screw-turn' }),
      onBegin: () => {},
      onAnswer: ({ key, file }, outcome) => {
        const record = outcome.ok ? outcome.value.record : null;
        const fault = outcome.ok ? (outcome.value.fault ?? record?.report.fault ?? null) : outcome.fault;
        frames.value = [
          ...frames.value,
          {
            key,
            name: file.name,
            report: fault ? null : (record?.report ?? null),
            trouble: fault?.message ?? null,
          },
        ];
        measuring.value = pool?.left ?? 0;
      },
    });
    pool.add(tasks);
    measuring.value = pool.left;
  }

  function leaveOut(key: string): void {
    frames.value = frames.value.filter((frame) => frame.key !== key);
  }

  function clear(): void {
    pool?.stop();
    pool = null;
    subject.value = null;
    frames.value = [];
    told.value = {};
    measuring.value = 0;
  }

  const judgement = computed<Judgement | null>(() => {
    const taken = frames.value.flatMap(({ report }) => (report ? [report] : []));
    if (!subject.value || taken.length === 0) return null;
    return judgeExperiment(kind.value, subject.value.report, taken, {
      ...told.value,
      learned: learned.value,
    });
  });
  /** Keeps what the last turn of a screw taught, so that the next screw's turn can be told from both. */
  function keepLearned(): void {
    learned.value = judgement.value?.screws?.learned ?? learned.value;
  }

  return {
    subject,
    kind,
    told,
    frames,
    measuring,
    learned,
    judgement,
    begin,
    choose,
    tell,
    add,
    leaveOut,
    clear,
    keepLearned,
  };
});
