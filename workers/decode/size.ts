import { DecodeFault, sizeText } from './fault.ts';

/** A side below this holds no star field. */
export const LEAST_SIDE_PX = 32;
/** More than any sensor, less than the kernels' memory. */
const MOST_PIXELS = 400e6;

/**
 * No more than this is believed of a packed file. Deflate packs at most 1032 to 1, and only where all bytes are the
 * same; a camera's frame never reaches 10 to 1. So what unpacks to more than this was not made by a camera.
 */
export const mostUnpackedBytes = (packedBytes: number): number => (160 << 20) + 100 * packedBytes;

/** How many pixels a picture has in all; a fault where no memory could hold them. */
export function pixelCount(widthPx: number, heightPx: number, planes: number, name: string): number {
  const count = widthPx * heightPx * planes;
  if (count <= MOST_PIXELS) return count;
  throw new DecodeFault(
    'too-large',
    `${name} says it is ${widthPx} x ${heightPx} pixels, ${(count / 1e6).toFixed(0)} million in all; up to ${MOST_PIXELS / 1e6} million are read. Crop it, or look whether its header is right.`,
  );
}

/** A fault where the header promises what a file of so few bytes cannot hold, packed or not. */
export function believePacked(unpackedBytes: number, fileBytes: number, name: string): void {
  if (unpackedBytes > mostUnpackedBytes(fileBytes))
    throw new DecodeFault(
      'too-large',
      `${name} is ${sizeText(fileBytes)} but says that it unpacks to ${sizeText(unpackedBytes)}: no camera frame does that. Look at what it is, and copy it again from where it was made.`,
    );
}

export const tooSmall = (widthPx: number, heightPx: number, name: string): DecodeFault =>
  new DecodeFault(
    'too-small',
    `The picture in ${name} is ${widthPx} x ${heightPx} pixels; at least ${LEAST_SIDE_PX} a side are needed for a few stars. Give the whole frame, not a cut-out.`,
  );

export const truncated = (name: string, neededBytes: number, comeBytes: number): DecodeFault =>
  new DecodeFault(
    'damaged',
    `${name} is cut short: its picture needs ${sizeText(neededBytes)} but only ${sizeText(comeBytes)} are there (${Math.floor((100 * comeBytes) / neededBytes)} %). Copy it again from where it was made.`,
  );

export const allBlank = (name: string): DecodeFault =>
  new DecodeFault('no-signal', `No pixel of ${name} has a value: all are marked as blank.`);
