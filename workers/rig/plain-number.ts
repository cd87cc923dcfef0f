import type { Estimate } from '../protocol/report.ts';

/** A bare number; a real minus sign, and never "-0". */
export function plain(value: number, decimals: number): string {
  const text = value.toFixed(decimals);
  return (Number(text) === 0 ? text.replace('-', '') : text).replace('-', '−');
}

/** A value for a sentence, down to the first digit that its error reaches; five digits where there is no error. */
export function asKnown({ value, sigma }: Estimate): string {
  const size = Math.floor(Math.log10(Math.abs(value) || 1));
  const place = sigma > 0 && Number.isFinite(sigma) ? Math.floor(Math.log10(sigma)) : size - 4;
  if (place <= 0) return plain(value, Math.min(4, -place));
  const step = 10 ** Math.min(place, size);
  return plain(Math.round(value / step) * step, 0);
}
