import type { FrameMeta } from '../../protocol/frame.ts';
import { DecodeFault } from '../fault.ts';
import { Picture } from '../picture.ts';
import type { FormatDecoder } from '../reader.ts';
import { pictureWarnings } from '../picture-warnings.ts';
import { noSuchPicture } from '../choice.ts';
import { LEAST_SIDE_PX } from '../size.ts';
import { FOREIGN_RAW } from '../strangers.ts';
import { paintChunks } from './chunks.ts';
import { openTiff, pagesOf, type Directory } from './directory.ts';
import { exifMeta } from './exif.ts';
import { COMPRESSION, layoutOf, READ_COMPRESSIONS } from './layout.ts';
import { mosaicOf } from './mosaic.ts';
import { TAG } from './tags.ts';

/** Reads a TIFF, BigTIFF, or the raw picture of an open DNG. */
export const decode: FormatDecoder['decode'] = async (input) => {
  const { name } = input;
  const file = await openTiff(await input.anywhere());
  const pages = file ? await pagesOf(file, name) : [];
  if (!file || pages.length === 0) throw noTiff(name);
  const pictures = await picturesOf(pages);
  const wanted = typeof input.choice.unit === 'number' ? input.choice.unit : 0;
  if (!pictures[wanted])
    throw noSuchPicture(
      name,
      wanted,
      pictures.map(({ unit }) => unit),
    );
  const chosen = pictures[wanted];
  const page = chosen.page;
  const isDng = pages[0].has(TAG.dngVersion);
  const compression = await page.number(TAG.compression, COMPRESSION.none);
  if (!isDng && pages[0].has(TAG.maker) && !READ_COMPRESSIONS.includes(compression))
    throw new DecodeFault('unsupported', `${name} ${FOREIGN_RAW}`);
  const layout = await layoutOf(page, name);
  if (layout.compression === COMPRESSION.jpeg)
    throw new DecodeFault(
      'unsupported',
      isDng
        ? `${name} is a DNG whose raw picture is packed as JPEG, which is not read. Convert it to an uncompressed DNG, or record FITS.`
        : `${name} is a TIFF with a JPEG inside, which has lost what stars are measured by. Save it without compression, or record FITS.`,
    );
  if (page.has(TAG.linearisation))
    throw new DecodeFault(
      'unsupported',
      `${name} stores its brightness by a table (a DNG with a LinearizationTable), which is not read. Convert it to a linear DNG or a 16-bit TIFF, or record FITS.`,
    );
  const picture = new Picture(input.kernels, layout.shape, name, input.fileBytes);
  await paintChunks(input, file, layout, picture);

  const mosaic = await mosaicOf(page);
  const warnings = pictureWarnings({
    format: isDng ? 'DNG' : 'TIFF',
    bits: layout.shape.numbers.bits,
    colour: layout.shape.planes === 3,
    colourProfile: page.has(TAG.colourProfile),
    lossy: false,
    tellsFilters: mosaic !== null,
  });
  warnings.push(...(await areaWarning(page, layout.shape)));
  const whiteLevel = await page.number(TAG.whiteLevel, null);
  const frame = picture.finish(await metaOf(pages, isDng), mosaic, whiteLevel, warnings);
  const listed = pictures.map(({ unit, name, widthPx, heightPx }) => ({ unit, name, widthPx, heightPx }));
  const contents =
    pictures.length > 1 ? { pictures: listed, chosen: { unit: chosen.unit, plane: 0 }, planes: 1 } : null;
  return { frame, contents };
};

interface Found {
  unit: number;
  name: string;
  widthPx: number;
  heightPx: number;
  page: Directory;
}

/** The pictures of a file, full size first: previews and masks are left out where there is anything else. */
async function picturesOf(pages: Directory[]): Promise<Found[]> {
  const all: (Found & { full: boolean })[] = [];
  for (const page of pages)
    for (const each of [page, ...(await page.below(TAG.subDirectories, 16))]) {
      const [widthPx, heightPx] = [await each.number(TAG.width, 0), await each.number(TAG.height, 0)];
      const full = ((await each.number(TAG.kindOfPage, 0)) & 1) === 0;
      const large = widthPx >= LEAST_SIDE_PX && heightPx >= LEAST_SIDE_PX;
      const name = (await each.text(TAG.description))?.slice(0, 40) ?? '';
      all.push({ unit: 0, name, widthPx, heightPx, page: each, full: full && large });
    }
  const full = all.filter((each) => each.full);
  return (full.length > 0 ? full : all.slice(0, 1)).map((found, unit) => ({ ...found, unit }));
}

async function metaOf(pages: Directory[], isDng: boolean): Promise<FrameMeta> {
  const [exif = null] = await pages[0].below(TAG.exif, 1);
  return { format: isDng ? 'DNG' : 'TIFF', ...(await exifMeta(exif ?? pages[0])) };
}

/** The margin of a sensor that sees no light is part of the frame; it is told of, since it looks like an edge. */
async function areaWarning(page: Directory, { widthPx, heightPx }: { widthPx: number; heightPx: number }) {
  const [top, left, bottom, right] = await page.numbers(TAG.activeArea, 4);
  if (right === undefined || (top === 0 && left === 0 && bottom === heightPx && right === widthPx)) return [];
  return [
    `Only ${right - left} x ${bottom - top} of the ${widthPx} x ${heightPx} pixels see light; the dark margin is left in.`,
  ];
}

const noTiff = (name: string) =>
  new DecodeFault(
    'damaged',
    `${name} begins like a TIFF but ends in its first bytes. Copy it again from where it was made.`,
  );
