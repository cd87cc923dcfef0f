import type { Stage } from '../../workers/protocol/api.ts';
import type { Verdict } from '../../workers/protocol/report.ts';
import { STAR_FLAGS, type StarFlagName } from '../../workers/protocol/flags.ts';

export const STAGES: { stage: Stage; says: string }[] = [
  { stage: 'reading', says: 'Reading the file' },
  { stage: 'background', says: 'Measuring the sky' },
  { stage: 'detecting', says: 'Finding stars' },
  { stage: 'measuring', says: 'Measuring stars' },
  { stage: 'mapping', says: 'Mapping the sensor' },
];

const ROWS = ['top', 'middle', 'bottom'];
const COLUMNS = ['left', 'centre', 'right'];

/** "top left", "right edge", "centre": a cell of the 3x3 grid as it is seen with the first stored row on top. */
export function placeName({ col, row }: { col: number; row: number }): string {
  if (col === 1 && row === 1) return 'centre';
  if (col === 1) return `${ROWS[row]} edge`;
  if (row === 1) return `${COLUMNS[col]} edge`;
  return `${ROWS[row]} ${COLUMNS[col]}`;
}

/** An axis (degrees from x towards y, which runs down) in words, to the nearest of four. */
export function axisWords(angleDeg: number): string {
  const eighth = Math.round(angleDeg / 45);
  const WORDS = ['left to right', 'top left to bottom right', 'up and down', 'bottom left to top right'];
  return WORDS[((eighth % 4) + 4) % 4];
}

/** A direction (degrees from x towards y, which runs down) in words, to the nearest of eight. */
export function headingWords(angleDeg: number): string {
  const WORDS = [
    'the right',
    'the bottom right',
    'the bottom',
    'the bottom left',
    'the left',
    'the top left',
    'the top',
    'the top right',
  ];
  return WORDS[((Math.round(angleDeg / 45) % 8) + 8) % 8];
}

export const WHEN: Record<Verdict['next'][number]['when'], string> = {
  now: 'Now',
  daylight: 'In daylight',
  'not-possible': 'Not as it is',
};

export const flagSentence = (name: StarFlagName): string =>
  STAR_FLAGS.find((flag) => flag.name === name)!.says;
