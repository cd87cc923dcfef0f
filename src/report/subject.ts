import type { MeanStar } from '../../workers/protocol/api.ts';
import type { FrameReport } from '../../workers/protocol/report.ts';
import type { LengthUnit, PixelScale } from '../format/quantity.ts';
import type { PrivateFact } from './share.ts';

/** All that a report is made of. */
export interface ReportSubject {
  report: FrameReport;
  meanStars: MeanStar[];
  unit: LengthUnit;
  scale: PixelScale;
  /** Only what was ticked. */
  told: PrivateFact[];
  /** The comparison with an earlier frame, as sentences; empty without. */
  beside: string[];
}
