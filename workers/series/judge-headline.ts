import type { Mark, MarkKind, RunPoint } from '../protocol/run.ts';

/** What goes on and costs most comes first. */
const WEIGHT: MarkKind[] = [
  'dew',
  'cloud',
  'leaving',
  'snag',
  'focus-temperature',
  'focus-creep',
  'haze',
  'twilight',
  'gust',
  'slow-drift',
  'altitude',
  'mirror-cooling',
  'sky-light',
  'pier-side',
];
/** Kinds that say the mount did not follow. */
const OF_MOUNT: MarkKind[] = ['gust', 'snag', 'leaving', 'slow-drift'];

/** Marks in the order in which they matter to somebody who can still act. */
export const byWeight = (marks: readonly Mark[]): Mark[] =>
  [...marks].sort(
    (p, q) =>
      Number(q.lasting) - Number(p.lasting) ||
      WEIGHT.indexOf(p.kind) - WEIGHT.indexOf(q.kind) ||
      q.to - q.from - (p.to - p.from),
  );

/** The night in a sentence or two, and the next move. */
export function headlineOf(
  points: readonly RunPoint[],
  kept: readonly boolean[],
  marks: readonly Mark[],
  longFrames: number,
): { headline: string; next: string | null } {
  const good = kept.filter(Boolean).length;
  const all = points.length;
  const weighty = byWeight(marks);
  const first = weighty.find(({ lasting }) => lasting) ?? weighty[0];
  const holds = longFrames <= 0.05 * all && !marks.some(({ kind }) => OF_MOUNT.includes(kind));
  const knowsShape = points.some(({ elongation }) => elongation !== null);
  const share =
    good === all
      ? all === 1
        ? 'the frame is good.'
        : `all ${all} frames are good.`
      : `${good} of ${all} frames are good.`;
  const mount = !knowsShape
    ? ''
    : holds
      ? 'The mount holds: '
      : longFrames > 0.2 * all
        ? `Tracking costs frames, ${longFrames} of ${all} are trailed: `
        : '';
  const said = mount + share;
  const headline = [said[0].toUpperCase() + said.slice(1), first?.says].filter(Boolean).join(' ');
  const move =
    weighty.find(({ doThis, lasting }) => doThis !== null && lasting) ?? weighty.find(({ doThis }) => doThis);
  return { headline, next: move?.doThis ?? null };
}
