import type { Measured } from '../../workers/protocol/api.ts';
import { flagNames } from '../../workers/protocol/flags.ts';
import type { Region } from '../../workers/protocol/report.ts';
import { axisOf } from '../stars/shape.ts';

/** RFC 4180: text that holds a comma, a quote or a line break stands in quotes, its quotes doubled. */
const cell = (value: number | string | null | undefined): string => {
  if (value === null || value === undefined || Number.isNaN(value)) return '';
  const text = String(value);
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
};
/** Comma-separated values as of RFC 4180. */
export const csvTable = (head: string[], rows: (number | string | null | undefined)[][]): string =>
  [head, ...rows].map((row) => row.map(cell).join(',') + '\r\n').join('');

/** Comma-separated values as of RFC 4180: one row per ninth of the sensor, standard errors beside the values. */
export function regionsCsv(regions: Region[]): string {
  const columns = ['fwhmPx', 'hfdPx', 'elongation', 'angleDeg'] as const;
  const head = ['col', 'row', 'stars', ...columns.flatMap((name) => [name, `${name}Sigma`])];
  return csvTable(
    head,
    regions.map((region) => [
      region.col,
      region.row,
      region.stars,
      ...columns.flatMap((name) => [region[name]?.value, region[name]?.sigma]),
    ]),
  );
}

/** One row per star, brightest first. */
export function starsCsv({ stars }: Pick<Measured, 'stars'>): string {
  const head = 'xPx,yPx,fluxAdu,snr,fwhmPx,fwhmPxSigma,hfdPx,hfdPxSigma,elongation,angleDeg,flags'.split(',');
  return csvTable(
    head,
    Array.from({ length: stars.count }, (_, i) => {
      const { elongation, angleRad } = axisOf(stars.e1[i], stars.e2[i]);
      return [
        stars.xPx[i],
        stars.yPx[i],
        stars.fluxAdu[i],
        stars.snr[i],
        stars.fwhmPx[i],
        stars.fwhmSigmaPx[i],
        stars.hfdPx[i],
        stars.hfdSigmaPx[i],
        elongation,
        (angleRad * 180) / Math.PI,
        flagNames(stars.flags[i]).join(' '),
      ];
    }),
  );
}

/** Hands a text to the browser as a file to keep. */
export const saveText = (fileName: string, type: string, text: string): void =>
  saveBlob(fileName, new Blob([text], { type }));

export function saveBlob(fileName: string, blob: Blob): void {
  const url = URL.createObjectURL(blob);
  const link = document.createElement('a');
  link.href = url;
  link.download = fileName;
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 0);
}
