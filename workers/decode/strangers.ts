import { DecodeFault } from './fault.ts';
import type { FaultCode } from '../protocol/faults.ts';

const ascii = (head: Uint8Array, from: number, to: number) => String.fromCharCode(...head.subarray(from, to));
const begins = (head: Uint8Array, ...bytes: number[]) => bytes.every((byte, i) => head[i] === byte);
interface Stranger {
  is(head: Uint8Array): boolean;
  code: FaultCode;
  /** Follows the file's name. */
  says: string;
}

const PACKED = 'Unpack it and give the file inside.';
/** Follows the name of a camera raw file that is not open. */
export const FOREIGN_RAW =
  'is a camera raw file of a closed kind, which is not read. Record FITS, or convert it to an uncompressed DNG or a 16-bit TIFF without developing it.';

/** Camera raw files that are built on TIFF but for the first bytes, and those that are not. */
export const isForeignRaw = (head: Uint8Array): boolean =>
  (/^(II\*\0|MM\0\*)$/.test(ascii(head, 0, 4)) && ascii(head, 8, 10) === 'CR') ||
  begins(head, 0x49, 0x49, 0x52, 0x4f) ||
  begins(head, 0x49, 0x49, 0x52, 0x53) ||
  begins(head, 0x49, 0x49, 0x55, 0) ||
  begins(head, 0x4d, 0x4d, 0x4f, 0x52) ||
  begins(head, 0, 0x4d, 0x52, 0x4d) ||
  begins(head, 0x46, 0x55, 0x4a, 0x49, 0x46, 0x49, 0x4c, 0x4d) ||
  ascii(head, 4, 11) === 'ftypcrx';

/** What people drop that is no format of ours, by its first bytes; the first that fits speaks. */
const STRANGERS: Stranger[] = [
  {
    is: (head) => head.length === 0,
    code: 'damaged',
    says: 'is empty: it has no bytes at all. Copy it again.',
  },
  {
    is: (head) => begins(head, 0x1f, 0x8b) || begins(head, 0x1f, 0x9d) || ascii(head, 0, 3) === 'BZh',
    code: 'unsupported',
    says: `is packed more than once. ${PACKED}`,
  },
  { is: (head) => begins(head, 0x50, 0x4b, 3, 4), code: 'unsupported', says: `is a zip archive. ${PACKED}` },
  {
    is: (head) => begins(head, 0xfd, 0x37, 0x7a, 0x58, 0x5a),
    code: 'unsupported',
    says: `is packed with xz. ${PACKED}`,
  },
  {
    is: (head) => begins(head, 0x28, 0xb5, 0x2f, 0xfd),
    code: 'unsupported',
    says: `is packed with zstd. ${PACKED}`,
  },
  {
    is: (head) => begins(head, 0x37, 0x7a, 0xbc, 0xaf, 0x27, 0x1c),
    code: 'unsupported',
    says: `is a 7z archive. ${PACKED}`,
  },
  { is: isForeignRaw, code: 'unsupported', says: FOREIGN_RAW },
  {
    is: (head) =>
      (ascii(head, 0, 4) === 'RIFF' && ascii(head, 8, 12) === 'AVI ') ||
      begins(head, 0x1a, 0x45, 0xdf, 0xa3) ||
      begins(head, 0x4c, 0x55, 0x43, 0x41, 0x4d) || // the raw video of planetary cameras
      /^ftyp(isom|iso2|mp4|qt  |avc1|M4V)/.test(ascii(head, 4, 12)) ||
      ascii(head, 4, 8) === 'moov',
    code: 'unsupported',
    says: 'is a video, and one still exposure is needed. Set the camera program to record single frames as FITS, or as TIFF or PNG with 16 bits, and give one of those.',
  },
  {
    is: (head) => ascii(head, 0, 2) === 'BM' || ascii(head, 0, 4) === 'GIF8' || ascii(head, 8, 12) === 'WEBP',
    code: 'unsupported',
    says: 'is a picture for the screen, not a raw exposure. Give the exposure as FITS, or as TIFF or PNG with 16 bits.',
  },
  {
    is: (head) => /^(ftyphei|ftypmif|ftypavif)/.test(ascii(head, 4, 12)),
    code: 'unsupported',
    says: 'is a developed picture of a phone or camera. Give the raw exposure as FITS.',
  },
  {
    is: (head) => ascii(head, 0, 8) === 'XTENSION',
    code: 'damaged',
    says: 'begins in the middle of a FITS file: its first header is missing. Copy it again.',
  },
  {
    is: (head) => /^SIMPLE\b/.test(ascii(head, 0, 10)),
    code: 'damaged',
    says: 'begins like a FITS file but its first card is garbled. Save it anew with the program that made it.',
  },
];

/** What to say of a file that no reader takes. */
export function strangerFault(name: string, head: Uint8Array): DecodeFault {
  const stranger = STRANGERS.find((each) => each.is(head));
  if (stranger) return new DecodeFault(stranger.code, `${name} ${stranger.says}`);
  return new DecodeFault(
    'not-a-frame',
    `${name} is no format that is read here. Give the exposure as FITS, or as TIFF, PNG or DNG.`,
  );
}
