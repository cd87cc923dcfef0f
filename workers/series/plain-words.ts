import type { Estimate } from '../protocol/report.ts';

const WAYS = [
  'to the right',
  'to the right and a little down',
  'to the lower right',
  'down and a little to the right',
  'straight down',
  'down and a little to the left',
  'to the lower left',
  'to the left and a little down',
  'to the left',
  'to the left and a little up',
  'to the upper left',
  'up and a little to the left',
  'straight up',
  'up and a little to the right',
  'to the upper right',
  'to the right and a little up',
];

/** A direction as the eye sees it on the picture, first row on top: one of sixteen. */
export function wayOnPicture(xPx: number, yPx: number): string {
  const sixteenth = Math.round((Math.atan2(yPx, xPx) * 8) / Math.PI);
  return WAYS[(sixteenth + 16) % 16];
}

/** A number for a sentence: two digits, three where whole, and none that its error leaves open. */
export function roughly({ value, sigma }: Estimate): string {
  const ofValue = Math.floor(Math.log10(Math.abs(value) || 1));
  const known = sigma > 0 ? Math.floor(Math.log10(sigma)) : -Infinity;
  const place = Math.max(Math.min(0, ofValue - 1), Math.min(known, ofValue));
  if (place <= 0) return value.toFixed(-place);
  const step = 10 ** place;
  return String(Math.round(value / step) * step);
}

/** An exposure or a span as one says it. */
export const seconds = (s: number): string =>
  `${s < 10 ? s.toFixed(1).replace(/\.0$/, '') : Math.round(s)} s`;
