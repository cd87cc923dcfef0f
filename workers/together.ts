import { fitOf } from './fit/drawn-field.ts';
import type { FieldFit } from './fit/field-fit.ts';
import type { FitProgress, StarPoolMaker } from './fit/fit-field.ts';
import { fitFrames } from './fit/fit-frames.ts';
import { stampMoments } from './fit/stamp-moments.ts';
import { failure, success, type Outcome } from './protocol/faults.ts';
import type { Rig } from './protocol/rig.ts';
import type { StampSet } from './protocol/stamps.ts';
import {
  LEAST_TOGETHER,
  MOST_TOGETHER,
  type FrameOfSeveral,
  type TogetherFrame,
  type TogetherReport,
} from './protocol/together.ts';
import { strangersAmong } from './series/belong.ts';
import { plainLook } from './verdict/plain/plain-look.ts';
import { commonBudget, commonCauses, commonVerdict, notesOn, type JudgedFrame } from './verdict/together.ts';
import { verdictOf } from './verdict/verdict.ts';

/**
 * Explains consecutive frames of one field together (fit/fit-frames.ts) and judges each by the rules of a single frame:
 * the first is the one that is asked about. Frames that do not belong to it are left out with a sentence. Answers with
 * a fault when fewer than two frames can be used; rejects with an AbortError when `signal` fires.
 */
export async function explainTogether(
  given: readonly TogetherFrame[],
  rig: Rig,
  makePool: StarPoolMaker,
  onProgress?: FitProgress,
  signal?: AbortSignal,
): Promise<Outcome<TogetherReport>> {
  if (given.length < LEAST_TOGETHER) return tooFew('One frame alone is not several.');
  const why = strangersAmong(given.map(({ record }) => record)).map((stranger, i) => {
    if (stranger) return stranger;
    if (i >= MOST_TOGETHER) return `${MOST_TOGETHER} frames at most are taken together.`;
    return given[i].stamps ? null : 'Its stars could not be cut out.';
  });
  const usable = given.flatMap((_, i) => (why[i] === null ? [i] : []));
  if (why[0]) return tooFew(`The first frame cannot be used: ${why[0]}`);
  if (usable.length < LEAST_TOGETHER) return tooFew(onlyOne(given, why));
  const facts = given[0].record.report.frame!;
  const fitted = await fitFrames(
    usable.map((i) => ({
      stamps: given[i].stamps!,
      fit: given[i].field ? fitOf(given[i].field!) : undefined,
    })),
    facts,
    rig,
    makePool,
    onProgress,
    signal,
  );
  if (!fitted.ok) return fitted;
  for (const { index, why: reason } of fitted.value.left) why[usable[index]] = reason;
  if (fitted.value.frames.length < LEAST_TOGETHER) return tooFew(onlyOne(given, why));
  const judged = new Map(
    fitted.value.frames.map(({ index, alone, fit }) => {
      const frame = given[usable[index]];
      return [usable[index], judgedFrame(frame, frame.stamps!, alone, fit, rig)];
    }),
  );
  return success(reportOn(given, why, judged));
}

function judgedFrame(
  { record: { report } }: TogetherFrame,
  stamps: StampSet,
  alone: FieldFit,
  fit: FieldFit,
  rig: Rig,
): JudgedFrame {
  const look = plainLook(stamps, stampMoments(stamps));
  return {
    file: report.file,
    alone: verdictOf(alone, report, rig, look, stamps.nature),
    together: verdictOf(fit, report, rig, look, stamps.nature),
  };
}

function reportOn(
  given: readonly TogetherFrame[],
  why: readonly (string | null)[],
  judged: ReadonlyMap<number, JudgedFrame>,
): TogetherReport {
  const frames = [...judged.values()];
  const verdict = commonVerdict(frames);
  const { model: first } = frames[0].together;
  const rows = given.map(({ record: { report } }, i): FrameOfSeveral => {
    const one = judged.get(i);
    const { model, budget, causes, verdict: own } = one?.together ?? {};
    return {
      file: report.file,
      stars: report.stars.measured,
      leftOut: why[i],
      alone: one?.alone.verdict ?? null,
      together: model && budget && causes && own ? { model, budget, causes, verdict: own } : null,
    };
  });
  return {
    format: 1,
    frames: rows,
    used: frames.length,
    optics: {
      focusUm: first.focusUm,
      tiltUmPerMm: first.tiltUmPerMm,
      curvaturePerM: first.curvaturePerM,
      focusSignKnown: first.focusSignKnown,
      coma: first.coma,
      astigmatismUm: first.astigmatismUm,
      astigmatismField: first.astigmatismField,
      trefoilUm: first.trefoilUm,
      sphericalUm: first.sphericalUm,
    },
    budget: commonBudget(frames),
    causes: commonCauses(frames),
    verdict,
    before: frames[0].alone.verdict,
    notes: notesOn(frames, verdict),
  };
}

const onlyOne = (given: readonly TogetherFrame[], why: readonly (string | null)[]): string =>
  given
    .flatMap(({ record }, i) => (why[i] ? [`${record.report.file}: ${why[i]}`] : []))
    .concat('No two frames are left that belong together.')
    .join(' ');

const tooFew = (sentence: string) =>
  failure(
    'too-few-stars',
    `${sentence} Give two to ${MOST_TOGETHER} frames of one field, taken one after the other without touching anything.`,
  );
