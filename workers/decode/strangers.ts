import { DecodeFault } from './fault.ts';
import type { FaultCode } from '../protocol/faults.ts';

const ascii = (head: Uint8Array, from: number, to: number) => String.fromCharCode(...head.subarray(from, to));
const begins = (head: Uint8Array, ...bytes: number[]) => bytes.every((byte, i) => head[i] === byte);
const isTiff = (head: Uint8Array) =>
  begins(head, 0x49, 0x49, 42, 0) || begins(head, 0x4d, 0x4d, 0, 42) || begins(head, 0x49, 0x49, 43, 0);

interface Stranger {
  is(head: Uint8Array): boolean;
  code: FaultCode;
  /** Follows the file's name. */
  says: string;
}

const PACKED = 'Unpack it and give the file inside.';
const RAW =
  'Save the exposure as FITS with your camera program, or convert the raw file to FITS without developing it.';

/** What people drop that is no format of ours, by its first bytes; the first that fits speaks. */
const STRANGERS: Stranger[] = [
  {
    is: (head) => head.length === 0,
    code: 'damaged',
    says: 'is empty: it has no bytes at all. Copy it again.',
  },
  {
    is: (head) => begins(head, 0x1f, 0x8b),
    code: 'unsupported',
    says: `is packed with gzip more than once. ${PACKED}`,
  },
  { is: (head) => ascii(head, 0, 3) === 'BZh', code: 'unsupported', says: `is packed with bzip2. ${PACKED}` },
  {
    is: (head) => begins(head, 0x1f, 0x9d),
    code: 'unsupported',
    says: `is packed with the old Unix compress. ${PACKED}`,
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
  // Camera raw files that are built on TIFF, and those that are not.
  {
    is: (head) => isTiff(head) && ascii(head, 8, 10) === 'CR',
    code: 'unsupported',
    says: `is a camera raw file, which is not read. ${RAW}`,
  },
  {
    is: (head) =>
      begins(head, 0x49, 0x49, 0x52, 0x4f) ||
      begins(head, 0x49, 0x49, 0x52, 0x53) ||
      begins(head, 0x49, 0x49, 0x55, 0) ||
      begins(head, 0x4d, 0x4d, 0x4f, 0x52) ||
      begins(head, 0, 0x4d, 0x52, 0x4d) ||
      ascii(head, 0, 8) === 'FUJIFILM' ||
      ascii(head, 4, 11) === 'ftypcrx',
    code: 'unsupported',
    says: `is a camera raw file, which is not read. ${RAW}`,
  },
  {
    is: isTiff,
    code: 'unsupported',
    says: 'is a TIFF picture or a camera raw file built like one, which is not read. Save the exposure as FITS.',
  },
  {
    is: (head) => begins(head, 0x89, 0x50, 0x4e, 0x47),
    code: 'unsupported',
    says: 'is a PNG picture, which is not read. Save the exposure as FITS, straight from the camera.',
  },
  {
    is: (head) => begins(head, 0xff, 0xd8, 0xff),
    code: 'unsupported',
    says: 'is a JPEG: developed, 8 bit and smoothed by its compression, so the shapes of its stars cannot be trusted. Give the raw exposure as FITS.',
  },
  {
    is: (head) => ascii(head, 0, 2) === 'BM' || ascii(head, 0, 4) === 'GIF8' || ascii(head, 8, 12) === 'WEBP',
    code: 'unsupported',
    says: 'is a picture for the screen, not a raw exposure. Give the raw exposure as FITS.',
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
    `${name} is no format that is read here. Give the exposure as FITS (.fits, .fit, .fts, also .gz).`,
  );
}
