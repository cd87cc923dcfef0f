import type { Frame } from '../../protocol/frame.ts';
import type { Doubt, FileContents, PictureInFile } from '../../protocol/reading.ts';
import type { ByteReader } from '../bytes.ts';
import { DecodeFault } from '../fault.ts';
import type { Pixels } from '../pixels.ts';
import type { Decoded, DecodeInput, FormatDecoder } from '../reader.ts';
import { saturationStored } from '../saturation.ts';
import { noSuchPicture } from '../choice.ts';
import { allBlank } from '../size.ts';
import { amplifierPlan, isAmplifier } from './amplifiers.ts';
import { paddingBytes, readHdu, type Hdu } from './hdu.ts';
import { readImage } from './image.ts';
import { numberIn } from './header.ts';
import { joinAmplifiers, type ReadUnit } from './join.ts';
import { frameMeta, type Notes } from './meta.ts';
import { namesIn } from './names.ts';
import { mosaicOf } from './mosaic.ts';
import { noImageFault } from './no-image.ts';
import { pointingOf } from './pointing.ts';
import {
  imageShape,
  isFrame,
  isInterleavedColour,
  pictureAxes,
  picturesIn,
  type ImageShape,
} from './shape.ts';

/** Reads the chosen unit of a FITS file, else the first that holds a picture large enough for stars. */
export const decode: FormatDecoder['decode'] = async (input) => {
  const { bytes, name, choice } = input;
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
    if (isFrame(shape)) {
      const wanted = typeof choice.unit !== 'number' || choice.unit === index;
      const joined =
        typeof choice.unit !== 'number' && isAmplifier(hdu) ? await joinedFrom(input, hdu, seen[0]) : null;
      if (joined) return joined;
      if (wanted) return frameFrom(input, hdu, shape, seen);
    }
    if (!(await bytes.skip(hdu.dataBytes + paddingBytes(hdu.dataBytes)))) break;
  }
  const there = listed(seen).map(({ unit }) => unit);
  if (typeof choice.unit === 'number' && there.length > 0) throw noSuchPicture(name, choice.unit, there);
  throw noImageFault(name, seen);
};

async function frameFrom(input: DecodeInput, hdu: Hdu, shape: ImageShape, seen: Hdu[]): Promise<Decoded> {
  const warnings: string[] = [];
  const end = input.bytes.position + hdu.dataBytes + paddingBytes(hdu.dataBytes);
  const pictures = picturesIn(shape);
  const plane = input.choice.plane ?? 0;
  if (plane >= pictures) throw noSuchPicture(input.name, plane, [...Array(pictures).keys()].slice(0, 20));
  const pixels = await readUnit(input)(input.bytes, hdu, { ...shape, picture: plane }, warnings);
  if (pictures > 1)
    warnings.push(
      `The file holds ${pictures} pictures one behind the other; number ${plane + 1} was read. Choose another under File.`,
    );
  const { frame, doubts } = frameOf(input, pixels, shape, [hdu, seen[0]], warnings);
  const all = listed([...seen, ...(await laterUnits(input, hdu.index, end))]);
  if (all.length > 1)
    warnings.push(
      `The file holds ${all.length} pictures; number ${hdu.index + 1}${named(hdu)} was read. Choose another under File.`,
    );
  const contents: FileContents | null =
    all.length > 1 || pictures > 1
      ? { pictures: all, chosen: { unit: hdu.index, plane }, planes: pictures }
      : null;
  return { frame, contents, doubts };
}

/** The frame that the read-outs of one sensor make together; null where they do not. */
async function joinedFrom(input: DecodeInput, first: Hdu, primary: Hdu): Promise<Decoded | null> {
  const units = await allUnits(input);
  const plan = amplifierPlan(units);
  if (!plan) return null;
  const warnings: string[] = [];
  const pixels = await joinAmplifiers(input, plan, readUnit(input), warnings);
  const { widthPx, heightPx } = plan;
  const shape = { widthPx, heightPx, planes: 1 as const, planesInFile: 1, picture: 0 };
  const { frame, doubts } = frameOf(input, pixels, shape, [first, primary], warnings, true);
  const joined: PictureInFile = { unit: 'joined', name: 'the whole sensor', widthPx, heightPx };
  const pictures = [joined, ...listed(units)];
  return { frame, doubts, contents: { pictures, chosen: { unit: 'joined', plane: 0 }, planes: 1 } };
}

const readUnit =
  (input: DecodeInput): ReadUnit =>
  async (bytes, hdu, shape, warnings) => {
    // Few files are compressed; what unpacks them is loaded with the first.
    const read = hdu.kind === 'image' ? readImage : (await import('./tiled.ts')).readTiledImage;
    const pixels = await read({ ...input, bytes }, hdu, shape, warnings);
    if (pixels.peak.maximum === -Infinity) throw allBlank(input.name);
    return pixels;
  };

/** What the camera program said about the exposure may stand in the picture's own header or in the file's first. */
function frameOf(
  input: DecodeInput,
  pixels: Pixels,
  shape: ImageShape,
  units: [own: Hdu, primary: Hdu],
  warnings: string[],
  joined = false,
): Pick<Decoded, 'frame'> & { doubts: Doubt[] } {
  const headers = units.map(({ header }) => header);
  const notes: Notes = { warnings, doubts: [] };
  const pointing = pointingOf(headers, joined ? null : shape);
  const meta = frameMeta(headers, pointing, notes);
  if (pixels.kind === 'f32' && pixels.peak.maximum <= 1 && pixels.peak.maximum > 0)
    warnings.push(
      'No pixel is brighter than 1: a program has scaled this frame and perhaps stretched it, which makes stars look wider than they are. Compare corners with centre, but do not trust widths; give the raw exposure.',
    );
  const frame: Frame = {
    meta,
    names: namesIn(headers),
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
  return { frame, doubts: notes.doubts };
}

const named = (hdu: Hdu) => {
  const name = hdu.header.string('EXTNAME');
  return name ? `, ${name}` : '';
};

const listed = (units: Hdu[]): PictureInFile[] =>
  units.flatMap((hdu) => {
    const shape = imageShape(pictureAxes(hdu));
    if (!isFrame(shape)) return [];
    const { widthPx, heightPx } = shape;
    return [{ unit: hdu.index, name: hdu.header.string('EXTNAME') ?? '', widthPx, heightPx }];
  });

/** More units than this are not looked at. */
const MOST_UNITS = 100;

/** The units behind byte `end`. Damage there does not matter to the picture that was read: what can be had counts. */
async function laterUnits({ bytes, name }: DecodeInput, lastIndex: number, end: number): Promise<Hdu[]> {
  if (bytes.sizeBytes !== null && end >= bytes.sizeBytes) return [];
  try {
    await bytes.skip(end - bytes.position);
    return await unitsFrom(bytes, lastIndex + 1, name);
  } catch (error) {
    if (error instanceof DecodeFault) return [];
    throw error;
  }
}

async function allUnits(input: DecodeInput): Promise<Hdu[]> {
  const bytes = input.again();
  try {
    return await unitsFrom(bytes, 0, input.name);
  } finally {
    await bytes.close();
  }
}

async function unitsFrom(bytes: ByteReader, first: number, name: string): Promise<Hdu[]> {
  const units: Hdu[] = [];
  for (let index = first; index < first + MOST_UNITS; index++) {
    const hdu = await readHdu(bytes, index, name);
    if (!hdu) break;
    units.push(hdu);
    if (!(await bytes.skip(hdu.dataBytes + paddingBytes(hdu.dataBytes)))) break;
  }
  return units;
}
