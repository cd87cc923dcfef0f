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

/** So many frames with wide stars, and this part of all that are left out, are worth a word. */
const MANY_WIDE = 3;
const MOSTLY_WIDE = 0.5;

/**
 * The night in a sentence or two, and the next move. `wideFrames`: left out for wide stars without anything that happened to
 * explain them.
 */
export function headlineOf(
  points: readonly RunPoint[],
  kept: readonly boolean[],
  marks: readonly Mark[],
  longFrames: number,
  wideFrames: number,
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
  const wide = wideFrames >= MANY_WIDE && wideFrames > MOSTLY_WIDE * (all - good) && !first?.lasting;
  const cause = wide ? `In ${wideFrames} the stars are too wide.` : first?.says;
  const headline = [said[0].toUpperCase() + said.slice(1), cause].filter(Boolean).join(' ');
  if (wide) return { headline, next: 'Focus again: if the stars stay wide, it is the air.' };
  const move =
    weighty.find(({ doThis, lasting }) => doThis !== null && lasting) ?? weighty.find(({ doThis }) => doThis);
  return { headline, next: move?.doThis ?? null };
}
