import type { Estimate } from '../protocol/report.ts';

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
