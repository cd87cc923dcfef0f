import { median } from '../statistics.ts';
import type { SideBySide } from './beside.ts';
import type { Case } from './frame.ts';
import type { Estimated, OverBound, Row } from './rows.ts';

export const nameOf = ({ profile, beta, fwhmPx, axisRatio, snr, mosaic }: Case): string =>
  `${mosaic ? 'mosaic' : 'mono  '} ${profile}${beta ? beta : ''} ${fwhmPx.toFixed(1)} px ${axisRatio === 1 ? 'round' : '0.75 '} SNR ${snr}`;

export const HEADER =
  'case | found | bias: FWHM %, HFD %, e | scatter over bound: x, FWHM, e [of an ideal fit] | our scatter over theirs (mono): windowed x, Gaussian-fit x, half-flux, e1 of long stars';

export const lineOf = ({ wish, found, of, bias, overBound, ideal }: Row): string =>
  [
    nameOf(wish).padEnd(42),
    `${found}/${of}`,
    `${percent(bias.fwhm.value)} ± ${(100 * bias.fwhm.error).toFixed(2)} ${percent(bias.hfd.value)} ${bias.e.value.toFixed(4)} ± ${bias.e.error.toFixed(4)}`,
    boundText(overBound) + (ideal ? ` [${boundText(ideal)}]` : ''),
  ].join(' | ');

const percent = (value: number) => (100 * value).toFixed(2).padStart(6);
const plusMinus = ({ value, error }: Estimated) => `${value.toFixed(2)} ± ${error.toFixed(2)}`;
const boundText = ({ position, fwhm, e }: OverBound) => [position, fwhm, e].map(plusMinus).join(' ');

export const sideText = ({ ratio, error }: SideBySide): string => ` | ${plusMinus({ value: ratio, error })}`;

/** What the bounds are promised to be. */
const MOST_OVER_BOUND = 1.15;
const MOST_OVER_OTHERS = 1.05;
const TRUSTED_SNR = 50;

/** The worst of everything, and how many cases are beyond what is promised: as they stand, and by two standard errors. */
export function summarise(rows: Row[], sides: (SideBySide & { wish: Case })[]): void {
  const trusted = rows.filter(({ wish }) => wish.snr > TRUSTED_SNR);
  const worst = (list: Row[], value: (row: Row) => number) => {
    const row = list.reduce((most, each) => (value(each) > value(most) ? each : most), list[0]);
    return row ? `${value(row).toFixed(4)} (${nameOf(row.wish).trim()})` : '-';
  };
  const counts = (beyond: (row: Row, errors: number) => boolean) =>
    `${rows.filter((row) => beyond(row, 0)).length} of ${rows.length}, by two errors ${rows.filter((row) => beyond(row, 2)).length}`;
  const isOver = ({ value, error }: Estimated, errors: number) => value - errors * error > MOST_OVER_BOUND;
  const over = (pick: (overBound: OverBound) => Estimated) =>
    `median ${median(rows.map((row) => pick(row.overBound).value)).toFixed(2)}, over ${MOST_OVER_BOUND}: ${counts((row, errors) => isOver(pick(row.overBound), errors))}, worst ${worst(rows, (row) => pick(row.overBound).value)}`;
  console.log('');
  console.log(
    `bias of FWHM at SNR over ${TRUSTED_SNR}: worst ${worst(trusted, (row) => Math.abs(row.bias.fwhm.value))}`,
  );
  console.log(
    `bias of e at SNR over ${TRUSTED_SNR}: worst ${worst(trusted, (row) => Math.abs(row.bias.e.value))}`,
  );
  console.log(`position over bound: ${over(({ position }) => position)}`);
  console.log(`FWHM over bound: ${over(({ fwhm }) => fwhm)}`);
  console.log(`e over bound: ${over(({ e }) => e)}`);
  console.log(
    `cases with any of the three over: ${counts(({ overBound: { position, fwhm, e } }, errors) => [position, fwhm, e].some((each) => isOver(each, errors)))}`,
  );
  for (const what of new Set(sides.map((side) => side.what))) {
    const list = sides.filter((side) => side.what === what && Number.isFinite(side.ratio));
    if (list.length === 0) continue;
    const above = list.filter(({ ratio, error }) => ratio > MOST_OVER_OTHERS + 2 * error);
    console.log(
      `${what}: our scatter over theirs, median ${median(list.map(({ ratio }) => ratio)).toFixed(3)}; above ${MOST_OVER_OTHERS} by two errors in ${above.length} of ${list.length}: ${above.map(({ wish }) => nameOf(wish).trim()).join('; ')}`,
    );
  }
}
