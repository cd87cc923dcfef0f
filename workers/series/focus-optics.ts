import type { FocusOptions } from '../protocol/focus-run.ts';
import type { SeriesRecord } from '../protocol/series.ts';

/** Optics for the law. Where nobody told them, usual ones: the shape of the law hardly depends on them, its scale does. */
export interface KnownOptics {
  focalRatio: number;
  obstruction: number;
  pixelUm: number;
  /** Focal ratio and pixel are those of this telescope, so that sizes tell micrometres. */
  known: boolean;
  pixelKnown: boolean;
  obstructionKnown: boolean;
}

const USUAL = { focalRatio: 5, obstruction: 0.25, pixelUm: 3.8 };

/** What was told counts before what the frames' reports and headers say. */
export function focusOptics(records: readonly SeriesRecord[], options: FocusOptions): KnownOptics {
  const first = <T>(pick: (record: SeriesRecord) => T | null | undefined): T | null => {
    for (const record of records) {
      const value = pick(record);
      if (value !== null && value !== undefined) return value;
    }
    return null;
  };
  const ratio =
    options.focalRatio ??
    first(({ report, meta }) => {
      const focal = report.frame?.focalLengthMm ?? meta.focalLengthMm;
      const aperture = report.frame?.apertureMm ?? meta.apertureMm;
      return focal && aperture ? focal / aperture : null;
    });
  const pixel =
    options.pixelSizeUm ?? first(({ report, meta }) => report.frame?.pixelSizeUm ?? meta.pixelSizeUm);
  const obstruction =
    options.obstruction ?? first(({ report, meta }) => report.frame?.obstruction ?? meta.obstruction);
  return {
    focalRatio: ratio ?? USUAL.focalRatio,
    obstruction: obstruction ?? USUAL.obstruction,
    pixelUm: pixel ?? USUAL.pixelUm,
    known: ratio !== null && pixel !== null,
    pixelKnown: pixel !== null,
    obstructionKnown: obstruction !== null,
  };
}
