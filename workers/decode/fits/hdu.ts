import type { ByteReader } from '../bytes.ts';
import { DecodeFault } from '../fault.ts';
import { cardLines, Header } from './header.ts';

export const BLOCK_BYTES = 2880;
/** 180 000 cards: far beyond any camera's header, reached at once by a file without END. */
const MOST_HEADER_BLOCKS = 5000;

/** One header-and-data unit: what its mandatory cards say. */
export interface Hdu {
  /** 0 is the primary one. */
  index: number;
  header: Header;
  kind: 'image' | 'groups' | 'table' | 'compressed-image' | 'other';
  bitpix: number;
  /** NAXIS1 ... NAXISn. */
  axes: number[];
  /** Bytes of data, without padding; may be absurdly large in a lying header. */
  dataBytes: number;
}

/**
 * Reads the header at the reader's position, which must be the start of a block. Returns null where no further unit
 * begins: at the end of the file, or at anything after the first unit that is no extension.
 */
export async function readHdu(bytes: ByteReader, index: number, name: string): Promise<Hdu | null> {
  const head = new TextDecoder('latin1').decode(await bytes.peek(8));
  if (index > 0 && head !== 'XTENSION') return null;
  return describe(await readHeader(bytes, name), index, name);
}

async function readHeader(bytes: ByteReader, name: string): Promise<Header> {
  const lines: string[] = [];
  for (let block = 0; block < MOST_HEADER_BLOCKS; block++) {
    const piece = await bytes.take(BLOCK_BYTES);
    const more = cardLines(piece);
    const end = more.findIndex((line) => /^END\s*$/.test(line));
    if (end >= 0) return new Header(lines.concat(more.slice(0, end)));
    if (piece.length < BLOCK_BYTES || !looksLikeText(piece)) break;
    lines.push(...more);
  }
  throw new DecodeFault(
    'damaged',
    `The header of ${name} has no END card, so nobody knows where its pixels begin: the file is cut short or was garbled on the way. Copy it again from the camera's computer.`,
  );
}

/** Nine in ten bytes printable: a stray accent in a comment passes, pixels do not. */
function looksLikeText(piece: Uint8Array): boolean {
  let printable = 0;
  for (const byte of piece) if (byte >= 32 && byte < 127) printable++;
  return printable >= 0.9 * piece.length;
}

const BITPIX = [8, 16, 32, 64, -32, -64];

function describe(header: Header, index: number, name: string): Hdu {
  const bitpix = header.number('BITPIX') ?? NaN;
  const naxis = header.number('NAXIS') ?? NaN;
  if (!BITPIX.includes(bitpix))
    throw lying(name, `BITPIX is ${shown(header, 'BITPIX')}, which is no number type of FITS`);
  if (!(naxis >= 0 && naxis <= 999 && Number.isInteger(naxis)))
    throw lying(name, `NAXIS is ${shown(header, 'NAXIS')}, which is no count of axes`);
  const axes: number[] = [];
  for (let axis = 1; axis <= naxis; axis++) {
    const length = header.number(`NAXIS${axis}`) ?? NaN;
    if (!(length >= 0 && Number.isInteger(length)))
      throw lying(name, `NAXIS${axis} is ${shown(header, `NAXIS${axis}`)}, which is no length of an axis`);
    axes.push(length);
  }
  const kind = kindOf(header, index, axes);
  return { index, header, kind, bitpix, axes, dataBytes: dataBytes(header, kind, bitpix, axes) };
}

function kindOf(header: Header, index: number, axes: number[]): Hdu['kind'] {
  const extension = index === 0 ? 'IMAGE' : header.string('XTENSION');
  if (extension === 'BINTABLE' && header.isTrue('ZIMAGE')) return 'compressed-image';
  if (extension?.endsWith('TABLE')) return 'table';
  if (extension !== 'IMAGE') return 'other';
  return axes[0] === 0 && header.isTrue('GROUPS') ? 'groups' : 'image';
}

/** FITS Standard 4.0, equations 1, 2 and 4: |BITPIX| GCOUNT (PCOUNT + product of the axes), in bits. */
function dataBytes(header: Header, kind: Hdu['kind'], bitpix: number, axes: number[]): number {
  if (axes.length === 0) return 0;
  const counted = kind === 'groups' ? axes.slice(1) : axes;
  const product = counted.reduce((all, length) => all * length, 1);
  const groups = whole(header.number('GCOUNT'), 1);
  const parameters = whole(header.number('PCOUNT'), 0);
  return (Math.abs(bitpix) / 8) * groups * (parameters + product);
}

const whole = (value: number | null, otherwise: number) =>
  value !== null && value >= 0 && Number.isInteger(value) ? value : otherwise;

const shown = (header: Header, keyword: string) => header.card(keyword)?.text.slice(0, 40) || 'missing';

const lying = (name: string, what: string) =>
  new DecodeFault(
    'damaged',
    `The header of ${name} contradicts the FITS standard: ${what}. Copy the file again, or save it anew with the program that made it.`,
  );

/** Bytes from the end of some data to the next block. */
export const paddingBytes = (dataBytes: number): number =>
  (BLOCK_BYTES - (dataBytes % BLOCK_BYTES)) % BLOCK_BYTES;
