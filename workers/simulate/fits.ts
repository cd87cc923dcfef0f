/** One header line: keyword (up to 8 capitals), value, comment. */
export type FitsCard = [keyword: string, value: string | number | boolean, comment?: string];

const BLOCK = 2880;
const CARD = 80;

/**
 * A FITS file of one unsigned 16-bit image (FITS Standard 4.0: blocks of 2880 bytes, cards of 80 characters,
 * big-endian; unsigned values are stored less BZERO = 32768).
 * `pixels` holds `widthPx` x `heightPx` values row by row; the first row becomes the first in the file.
 * `cards` follow the mandatory ones in the given order. Throws on a keyword, text or number that FITS cannot hold.
 */
export function writeFits16(
  pixels: Uint16Array,
  widthPx: number,
  heightPx: number,
  cards: FitsCard[] = [],
): Uint8Array<ArrayBuffer> {
  if (pixels.length !== widthPx * heightPx)
    throw new Error(`${pixels.length} pixels given where ${widthPx} x ${heightPx} were announced`);
  const header = [
    ...([
      ['SIMPLE', true, 'conforms to the FITS standard'],
      ['BITPIX', 16],
      ['NAXIS', 2],
      ['NAXIS1', widthPx],
      ['NAXIS2', heightPx],
      ['BZERO', 32768, 'unsigned 16 bit'],
      ['BSCALE', 1],
    ] as FitsCard[]),
    ...cards,
  ]
    .map(formatCard)
    .concat('END'.padEnd(CARD))
    .join('');
  const headerBytes = roundUp(header.length);
  const bytes = new Uint8Array(headerBytes + roundUp(2 * pixels.length));
  bytes.fill(0x20, 0, headerBytes);
  for (let i = 0; i < header.length; i++) bytes[i] = header.charCodeAt(i);
  const view = new DataView(bytes.buffer, headerBytes);
  for (let i = 0; i < pixels.length; i++) view.setInt16(2 * i, pixels[i] - 32768);
  return bytes;
}

const roundUp = (bytes: number) => Math.ceil(bytes / BLOCK) * BLOCK;

function formatCard([keyword, value, comment]: FitsCard): string {
  if (!/^[A-Z0-9_-]{1,8}$/.test(keyword)) throw new Error(`"${keyword}" is no FITS keyword`);
  const body = `${keyword.padEnd(8)}= ${formatValue(value)}${comment ? ` / ${comment}` : ''}`;
  if (body.length > CARD && typeof value === 'string')
    throw new Error(`the text of ${keyword} does not fit into a FITS card`);
  if (/[^\x20-\x7e]/.test(body)) throw new Error(`${keyword} holds characters that FITS does not allow`);
  return body.slice(0, CARD).padEnd(CARD);
}

/** Fixed format: numbers and logicals end in column 30, texts are quoted and at least eight characters long. */
function formatValue(value: string | number | boolean): string {
  if (typeof value === 'string') return `'${value.replaceAll("'", "''").padEnd(8)}'`.padEnd(20);
  if (typeof value === 'boolean') return (value ? 'T' : 'F').padStart(20);
  if (!Number.isFinite(value)) throw new Error('FITS headers hold finite numbers only');
  return String(value).toUpperCase().padStart(20);
}
