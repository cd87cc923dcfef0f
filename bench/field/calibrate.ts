import { solveSymmetric } from '../../workers/math/linear.ts';
import { GAP_LOGIT, fromGap } from '../../workers/verdict/confidence.ts';
import { decide } from '../../workers/verdict/decide.ts';
import { evidenceOf } from '../../workers/verdict/verdict.ts';
import type { SavedField } from './saved.ts';
import { wilson } from './tables.ts';

/** One verdict that another explanation contested: how far that was behind, and whether the verdict was right. */
interface Contest {
  gap: number;
  right: boolean;
}

/**
 * What is believed before any field is seen, and how firmly: the logit of being right against ln(1 + gap), and the
 * standard deviations of its two coefficients. From 55 small fields of another program than this.
 */
const BEFORE = { at0: -2.04, slope: 1.04 };
const FIRMNESS = { at0: 0.8, slope: 0.4 };
/** A verdict that something else holds down further says nothing about the gap. */
const HELD_DOWN = 0.02;

/** Contests among saved fields, by today's rules. */
export function contestsOf(fields: readonly SavedField[]): Contest[] {
  return fields.flatMap(({ evidence, right }) => {
    if (!evidence?.fit || !evidence.report) return [];
    const { fit, report, rig, look } = evidence;
    const { gap, confidence } = decide(evidenceOf(fit, report, rig, look));
    return gap === undefined || confidence < fromGap(gap) - HELD_DOWN ? [] : [{ gap, right }];
  });
}

/** Most probable coefficients of the logistic curve, prior included (Newton's method; the posterior is concave). */
export function logisticThrough(contests: readonly Contest[]): { at0: number; slope: number } {
  let { at0, slope } = BEFORE;
  for (let round = 0; round < 30; round++) {
    const precision = [1 / FIRMNESS.at0 ** 2, 1 / FIRMNESS.slope ** 2];
    const gradient = new Float64Array([
      (BEFORE.at0 - at0) * precision[0],
      (BEFORE.slope - slope) * precision[1],
    ]);
    const curvature = new Float64Array([precision[0], 0, 0, precision[1]]);
    for (const { gap, right } of contests) {
      const x = Math.log(1 + Math.max(gap, 0));
      const p = 1 / (1 + Math.exp(-at0 - slope * x));
      const rest = (right ? 1 : 0) - p;
      gradient[0] += rest;
      gradient[1] += rest * x;
      const weight = p * (1 - p);
      curvature[0] += weight;
      curvature[1] += weight * x;
      curvature[2] += weight * x;
      curvature[3] += weight * x * x;
    }
    const step = solveSymmetric(curvature, gradient);
    if (!step) break;
    at0 += step[0];
    // More distance can never mean less trust.
    slope = Math.max(slope + step[1], 0.1);
  }
  return { at0, slope };
}

/** How sure the distance of the nearest rival makes a verdict: as seen, as stated now, and as it should be stated. */
export function calibration(fields: readonly SavedField[]): string[] {
  const contests = contestsOf(fields);
  const { at0, slope } = logisticThrough(contests);
  const fitted = (gap: number) => 1 / (1 + Math.exp(-at0 - slope * Math.log(1 + Math.max(gap, 0))));
  const edges = [-Infinity, 3, 10, 20, 40, 80, 160, 320, Infinity];
  const percent = (value: number) => `${(100 * value).toFixed(1)} %`;
  return [
    `${contests.length} contested verdicts, ${contests.filter(({ right }) => !right).length} wrong`,
    ...edges.slice(0, -1).flatMap((low, i) => {
      const inside = contests.filter(({ gap }) => gap >= low && gap < edges[i + 1]);
      if (inside.length === 0) return [];
      const hits = inside.filter(({ right }) => right).length;
      const [least, most] = wilson(hits, inside.length);
      const mean = (value: (gap: number) => number) =>
        inside.reduce((sum, { gap }) => sum + value(gap), 0) / inside.length;
      return [
        `gap ${low} to ${edges[i + 1]}: ${hits} of ${inside.length} right (${percent(least)} to ${percent(most)}), now ${percent(mean(fromGap))}, fitted ${percent(mean(fitted))}`,
      ];
    }),
    `GAP_LOGIT = { at0: ${at0.toFixed(2)}, slope: ${slope.toFixed(2)} } (now ${GAP_LOGIT.at0}, ${GAP_LOGIT.slope})`,
  ];
}
