import type { Mark, MarkKind } from '../../workers/protocol/run.ts';

/** What stands on the timeline over a mark: a word or two. */
export const MARK_NAME: Record<MarkKind, string> = {
  'focus-temperature': 'focus, warmth',
  'focus-creep': 'focus creeps',
  'mirror-cooling': 'mirror cools',
  altitude: 'height of target',
  dew: 'dew',
  haze: 'haze',
  cloud: 'cloud',
  gust: 'gust',
  snag: 'pull',
  'pier-side': 'pier side',
  twilight: 'twilight',
  'sky-light': 'bright sky',
  leaving: 'target leaves',
  'slow-drift': 'slow drift',
};

/** A, B, C, ... in order of time, as on the timeline. */
export const letterOf = (index: number): string =>
  index < 26
    ? String.fromCharCode(65 + index)
    : `${letterOf(Math.floor(index / 26) - 1)}${letterOf(index % 26)}`;

const CLOCK = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' });
/** Hour and minute of this machine's clock. */
export const clockText = (timeMs: number): string => CLOCK.format(timeMs);

/** "22:10" or "22:10 to 22:25". */
export function spanOf({ from, to }: Mark, times: number[]): string {
  const [first, last] = [clockText(times[from]), clockText(times[to])];
  return first === last ? first : `${first} to ${last}`;
}

const DAY = new Intl.DateTimeFormat('en-GB', { day: 'numeric', month: 'short', year: 'numeric' });
const LONGEST_NIGHT_MS = 20 * 3600e3;
/** "17 Oct 2026, 22:10 to 03:25": a night goes by the day on which it began. */
export function nightText(fromMs: number, toMs: number): string {
  const [from, to] = [clockText(fromMs), clockText(toMs)];
  const day = toMs - fromMs > LONGEST_NIGHT_MS ? `${DAY.format(toMs)}, ` : '';
  const end = from === to && !day ? '' : ` to ${day}${to}`;
  return `${DAY.format(fromMs)}, ${from}${end}`;
}
