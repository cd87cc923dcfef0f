/** About how many bytes a plain value takes when it is kept: what is in it, without the database's own bookkeeping. */
export function weigh(value: unknown): number {
  if (value === null || value === undefined || typeof value === 'boolean') return 1;
  if (typeof value === 'number') return 8;
  if (typeof value === 'string') return new TextEncoder().encode(value).length;
  if (value instanceof ArrayBuffer || ArrayBuffer.isView(value)) return value.byteLength;
  if (typeof value !== 'object') return 0;
  let sum = 0;
  for (const [name, part] of Object.entries(value))
    sum += (Array.isArray(value) ? 0 : name.length) + weigh(part);
  return sum;
}
