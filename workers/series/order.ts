import type { SeriesRecord } from '../protocol/series.ts';

/** A frame of the run in its place in time; seconds since the first start, null when the file tells no time. */
export interface TimedFrame {
  /** Place in the list that was given. */
  record: number;
  startS: number | null;
  exposureS: number | null;
  /** Start of the exposure and half of its length: DATE-OBS is the start (FITS Standard 4.0, 9.5, and common practice). */
  midS: number | null;
}

/**
 * The frames in order of time; frames without a time come last, in the natural order of their names. A frame that does not
 * tell its exposure is taken to be as long as the others.
 */
export function inOrderOfTime(records: readonly SeriesRecord[]): TimedFrame[] {
  const starts = records.map(({ meta }) => (meta.startTime === null ? NaN : Date.parse(meta.startTime)));
  const first = starts.reduce((least, each) => (each < least ? each : least), Infinity);
  const exposures = records.map(({ report, meta }) => report.frame?.exposureS ?? meta.exposureS);
  const usual = exposures.filter((each) => each !== null).sort((a, b) => a - b);
  const fallback = usual.length ? usual[usual.length >> 1] : null;
  return records
    .map((_, record): TimedFrame => {
      const startS = Number.isFinite(starts[record]) ? (starts[record] - first) / 1000 : null;
      const exposureS = exposures[record] ?? fallback;
      return { record, startS, exposureS, midS: startS === null ? null : startS + (exposureS ?? 0) / 2 };
    })
    .sort(
      (p, q) =>
        byTime(p.startS, q.startS) ||
        byName(records[p.record].report.file, records[q.record].report.file) ||
        p.record - q.record,
    );
}

const byTime = (p: number | null, q: number | null): number => {
  if (p === null || q === null) return Number(p === null) - Number(q === null);
  return p - q;
};

/** frame-2 before frame-10. */
const names = new Intl.Collator('en', { numeric: true });
const byName = (p: string, q: string): number => names.compare(p, q);
