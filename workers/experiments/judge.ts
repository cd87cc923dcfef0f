import type { Judgement, Told } from '../protocol/experiment.ts';
import type { Experiment, FrameReport } from '../protocol/report.ts';
import type { SeriesRecord } from '../protocol/series.ts';
import { priorOf, voided } from './bayes.ts';
import { evidenceOf, type Evidence } from './evidence.ts';
import { judgeRefocus } from './refocus-step.ts';
import { judgeScrew } from './screw-turn.ts';
import { judgeExposure, judgeFilter, judgeHalfAperture, judgeRepeats } from './tracking-or-not.ts';
import { judgePier, judgeTurn } from './turned.ts';

type Given = SeriesRecord | FrameReport;
type Judge = (before: Evidence, after: Evidence[], told: Told) => Judgement;

const JUDGES: Record<Experiment, Judge> = {
  'refocus-step': judgeRefocus,
  'rotate-camera': judgeTurn,
  'halve-exposure': judgeExposure,
  'next-frame': (before, after) => judgeRepeats('next-frame', before, after),
  'more-frames': (before, after) => judgeRepeats('more-frames', before, after),
  'half-aperture': judgeHalfAperture,
  'screw-turn': judgeScrew,
  'other-pier-side': judgePier,
  'change-filter': judgeFilter,
};

/**
 * What the frames of an experiment say: the chances of the causes before and after, by Bayes' rule, in words. `before` is the
 * frame whose verdict could not decide, `after` those taken when the hands had done what was asked. Pure.
 */
export function judgeExperiment(
  kind: Experiment,
  before: Given,
  after: readonly Given[],
  told: Told = {},
): Judgement {
  const first = reportOf(before);
  const evidence = evidenceOf(first);
  const taken = after.map(reportOf);
  if (!evidence)
    return voided(
      kind,
      priorOf(first),
      'The first frame tells no star sizes: start with a frame that could be measured.',
    );
  const spoilt = taken.find((report) => !evidenceOf(report));
  if (taken.length === 0 || spoilt)
    return voided(
      kind,
      priorOf(first),
      spoilt?.fault?.message ?? 'No frame of the experiment has been dropped yet.',
    );
  const other = taken.find(
    (report) =>
      report.frame!.widthPx !== first.frame!.widthPx || report.frame!.heightPx !== first.frame!.heightPx,
  );
  if (other)
    return voided(
      kind,
      priorOf(first),
      'The new frame has another size than the first: use the same camera setting.',
    );
  return JUDGES[kind](
    evidence,
    taken.map((report) => evidenceOf(report)!),
    told,
  );
}

const reportOf = (given: Given): FrameReport => ('report' in given ? given.report : given);
