import type { RunJudgement, RunPoint } from '../../../workers/protocol/run.ts';
import { nextDay, type Night } from '../../../workers/rig/next-day.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import type { Plan } from '../plan.ts';
import { targetOf } from './night.ts';
import { duration, told, type Told } from './told.ts';

/** The subs of a run; frames whose exposure is not known count as subs and hold no light. */
export function nightOf({ points, kept }: Pick<RunJudgement, 'points' | 'kept'>): Night {
  const light = (list: RunPoint[]) => list.reduce((sum, { exposureS }) => sum + (exposureS ?? 0), 0);
  const good = points.filter((_, i) => kept[i]);
  return { taken: points.length, kept: good.length, takenS: light(points), keptS: light(good) };
}

/** Length of most of the subs; null when no file tells it. */
export function commonSubS(points: Pick<RunPoint, 'exposureS'>[]): number | null {
  const lengths = points.map(({ exposureS }) => exposureS).filter((s) => s !== null);
  return lengths.sort((a, b) => a - b)[Math.floor(lengths.length / 2)] ?? null;
}

/** The day after: what the run holds, how far it is from the wish, and the one change that helps most. */
export function nextDayTold(
  sheet: RigSheet,
  plan: Plan,
  skyPerS: number | null,
  run: Pick<RunJudgement, 'points' | 'kept'> | null,
): Told {
  const what: Told = {
    id: 'next-day',
    title: 'The day after',
    says: [],
    missing: [],
    formula: 'missing = T − kept; reached = S · kept / √(kept · (S + B + R²/t)); losing no sub: × kept/taken',
    source:
      'CCD equation (Newberry 1991) with the object and the signal over noise of the leaf above. Which subs are worth keeping is judged under Run.',
  };
  if (!run || run.points.length === 0)
    return { ...what, says: ['Give the night’s frames under Run: then it says here what they add up to.'] };
  const night = nightOf(run);
  const says = [
    `${night.kept} of ${night.taken} subs are worth keeping: ${duration(night.keptS)} of light${night.takenS > night.keptS ? `, ${duration(night.takenS - night.keptS)} are lost` : ''}.`,
  ];
  const subS = commonSubS(run.points);
  const target = targetOf(sheet, { ...plan, subS: subS ?? plan.subS }, skyPerS);
  if (!target || night.keptS === 0)
    return {
      ...what,
      says: [
        ...says,
        'With read noise, sky and gain told, it says here what is still missing and what would help most.',
      ],
    };
  const { snr, neededS, missingS, changes } = nextDay(target, plan.snr, night);
  const wish = told(plan.objectMagPerArcsec2, 'mag per ″²');
  says.push(
    missingS === 0
      ? `${wish} stands at ${told(snr, '')} times the noise in every pixel: the wish of ${told(plan.snr, '')} is reached.`
      : `${wish} stands at ${told(snr, '')} times the noise in every pixel; for ${told(plan.snr, '')} it takes ${duration(neededS)}, so ${duration(missingS)} are missing.`,
  );
  const [best] = changes;
  if (missingS > 0 && best.factor < 0.97)
    says.push(
      `The single change that buys most: ${best.change}; then ${duration(missingS * best.factor)} would do.`,
    );
  return { ...what, says };
}
