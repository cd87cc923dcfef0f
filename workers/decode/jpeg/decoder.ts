import { decode as decodeJpeg } from 'jpeg-js';
import { onlyPicture } from '../choice.ts';
import { DecodeFault } from '../fault.ts';
import { NOTHING_KNOWN } from '../../protocol/frame.ts';
import { Picture } from '../picture.ts';
import { pictureWarnings } from '../picture-warnings.ts';
import type { FormatDecoder } from '../reader.ts';
import { openTiff, Directory } from '../tiff/directory.ts';
import { exifMeta } from '../tiff/exif.ts';
import { TAG } from '../tiff/tags.ts';
import type { Anywhere } from '../anywhere.ts';
import { scanJpeg } from './scan.ts';

/** Larger JPEGs than this no camera makes; they would have to be held in memory whole. */
const MOST_FILE_BYTES = 200e6;
const MOST_MEGABYTES = 3000;
/**
 * A small file gets less memory, however large the picture it promises: a dark sky packs to a fiftieth of a byte for each
 * pixel at the least (common practice, no source), and unpacking takes some 18 bytes a pixel.
 */
const megabytesFor = (fileBytes: number) => Math.min(MOST_MEGABYTES, 80 + (900 * fileBytes) / 1e6);

/** Reads a JPEG, which is better than nothing: the warnings say what cannot be trusted. */
export const decode: FormatDecoder['decode'] = async (input) => {
  const { name } = input;
  onlyPicture(input.choice, name);
  const file = await input.anywhere();
  if (file.sizeBytes > MOST_FILE_BYTES)
    throw new DecodeFault(
      'too-large',
      `${name} is far larger than any JPEG of a camera. Look at what it is.`,
    );
  const packed = (await file.bytes(0, file.sizeBytes)).slice();
  const facts = scanJpeg(packed);
  if (!facts) throw damaged(name);
  const colour = facts.components >= 3;
  const picture = new Picture(
    input.kernels,
    {
      widthPx: facts.widthPx,
      heightPx: facts.heightPx,
      planes: colour ? 3 : 1,
      numbers: { bits: 8, kind: 'unsigned' },
    },
    name,
    input.fileBytes,
  );
  const { data, width, height } = unpack(packed, name);
  if (width !== facts.widthPx || height !== facts.heightPx) throw damaged(name);
  for (let plane = 0; plane < picture.shape.planes; plane++)
    for (let y = 0; y < height; y++) picture.paint(plane, 0, y, data, 3 * y * width + plane, 3, width);
  input.onBytes(packed.length, packed.length);
  const kind = { format: 'JPEG', bits: 8, colour, colourProfile: true, lossy: true, tellsFilters: false };
  const meta = {
    format: 'JPEG',
    ...(facts.exifAt === null ? NOTHING_KNOWN : await exifIn(file, facts.exifAt)),
  };
  return { frame: picture.finish(meta, null, null, pictureWarnings(kind)), contents: null };
};

function unpack(packed: Uint8Array, name: string) {
  try {
    return decodeJpeg(packed, {
      useTArray: true,
      formatAsRGBA: false,
      tolerantDecoding: false,
      maxResolutionInMP: 400,
      maxMemoryUsageInMB: megabytesFor(packed.length),
    });
  } catch (error) {
    // The library throws plain errors for whatever it does not like; one of them is about memory.
    if (error instanceof Error && /maxMemoryUsage/.test(error.message))
      throw new DecodeFault(
        'too-large',
        `${name} promises a picture that is too large for so small a file, or for the memory that there is. Look at what it is; if it is right, crop it and try again.`,
      );
    throw damaged(name);
  }
}

async function exifIn(file: Anywhere, start: number): Promise<typeof NOTHING_KNOWN> {
  const tiff = await openTiff(file, start);
  const first = tiff && (await Directory.read(tiff, tiff.firstAt));
  const [exif] = first ? await first.below(TAG.exif, 1) : [];
  return exif ? exifMeta(exif) : NOTHING_KNOWN;
}

const damaged = (name: string) =>
  new DecodeFault(
    'damaged',
    `${name} is a JPEG that does not unpack: it is cut short, damaged, or of a rare kind. Copy it again, or give the raw exposure.`,
  );
