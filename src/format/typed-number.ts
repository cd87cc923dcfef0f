/**
 * A number as hands type it: a comma counts as a decimal point, a printed minus as a minus. Null for an empty field,
 * NaN for what is no number.
 */
export function typedNumber(text: string): number | null {
  const trimmed = text.trim().replace(',', '.').replace('−', '-');
  if (trimmed === '') return null;
  const value = Number(trimmed);
  return Number.isFinite(value) ? value : NaN;
}
