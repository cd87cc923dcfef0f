import type { SeriesResult } from '../protocol/series.ts';
import type { MotionFit } from './fit-motion.ts';

/** What a run means, in sentences: first what to do, then reasons and cautions, the weightiest first. */
export function trackingWords(
  result: SeriesResult,
  fit: MotionFit | null,
  everyFrame: boolean,
): Pick<SeriesResult, 'headline' | 'notes'> {
  void result;
  void fit;
  void everyFrame;
  return { headline: '', notes: [] };
}
