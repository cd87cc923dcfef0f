import type { Frame } from '../../protocol/frame.ts';
import { DecodeFault } from '../fault.ts';
import type { DecodeInput, FormatDecoder } from '../reader.ts';
import { saturationStored } from '../saturation.ts';
import { paddingBytes, readHdu, type Hdu } from './hdu.ts';
import { readImage } from './image.ts';
import { numberIn } from './header.ts';
import { frameMeta } from './meta.ts';
import { mosaicOf } from './mosaic.ts';
import { noImageFault } from './no-image.ts';
import { imageShape, isFrame, isInterleavedColour, pictureAxes, type ImageShape } from './shape.ts';

/** Reads the first unit of a FITS file that holds a picture large enough for stars. */
export const decode: FormatDecoder['decode'] = async (input) => {
  const { bytes, name } = input;
  const seen: Hdu[] = [];
  for (let index = 0; ; index++) {
    const hdu = await readHdu(bytes, index, name);
    if (!hdu) break;
    seen.push(hdu);
    const axes = pictureAxes(hdu);
    if (isInterleavedColour(axes))
      throw new DecodeFault(
        'unsupported',
        `${name} stores the three colours of each pixel side by side (NAXIS1 = 3), which is not read. Save it with one plane for each colour (NAXIS3 = 3), or better give the raw frame.`,
      );
    const shape = imageShape(axes);
    if (isFrame(shape)) return frameFrom(input, hdu, shape, seen[0]);
    if (!(await bytes.skip(hdu.dataBytes + paddingBytes(hdu.dataBytes)))) break;
  }
  throw noImageFault(name, seen);
};

async function frameFrom(input: DecodeInput, hdu: Hdu, shape: ImageShape, primary: Hdu): Promise<Frame> {
  const warnings: string[] = [];
  const end = input.bytes.position + hdu.dataBytes + paddingBytes(hdu.dataBytes);
  // Few files are compressed; what unpacks them is loaded with the first.
  const read = hdu.kind === 'image' ? readImage : (await import('./tiled.ts')).readTiledImage;
  const pixels = await read(input, hdu, shape, warnings);
  if (pixels.peak.maximum === -Infinity)
    throw new DecodeFault('no-signal', `No pixel of ${input.name} has a value: all are marked as blank.`);
  if (shape.planesInFile > shape.planes)
    warnings.push(`The file holds ${shape.planesInFile} pictures one behind the other; the first was read.`);
  const more = await laterImages(input, hdu.index, end);
  if (more > 0)
    warnings.push(
      `The file holds ${more + 1} pictures; the first large enough was read (unit ${hdu.index}${named(hdu)}).`,
    );
  // What the camera program said about the exposure may stand in the picture's own header or in the file's first.
  const headers = [hdu.header, primary.header];
  return {
    meta: frameMeta(headers, warnings),
    widthPx: shape.widthPx,
    heightPx: shape.heightPx,
    pixels: { kind: pixels.kind, address: pixels.address },
    planes: shape.planes,
    scale: pixels.scale,
    zero: pixels.zero,
    saturationStored: saturationStored(input.kernels, pixels, numberIn(headers, 'SATURATE'), warnings),
    mosaic: shape.planes === 1 ? mosaicOf(headers, warnings) : null,
    warnings,
  };
}

const named = (hdu: Hdu) => {
  const name = hdu.header.string('EXTNAME');
  return name ? `, ${name}` : '';
};

/** A glance at this many further units is enough for a warning. */
const MOST_LATER_UNITS = 64;

/** How many more pictures the file holds behind byte `end`. Only where the file can be jumped about in. */
async function laterImages({ bytes, name }: DecodeInput, lastIndex: number, end: number): Promise<number> {
  if (bytes.sizeBytes === null || end >= bytes.sizeBytes) return 0;
  let images = 0;
  try {
    await bytes.skip(end - bytes.position);
    for (let index = lastIndex + 1; index <= lastIndex + MOST_LATER_UNITS; index++) {
      const hdu = await readHdu(bytes, index, name);
      if (!hdu) break;
      if (isFrame(imageShape(pictureAxes(hdu)))) images++;
      if (!(await bytes.skip(hdu.dataBytes + paddingBytes(hdu.dataBytes)))) break;
    }
  } catch (error) {
    if (!(error instanceof DecodeFault)) throw error; // damage behind the picture that was read does not matter
  }
  return images;
}
