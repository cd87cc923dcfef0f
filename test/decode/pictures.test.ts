// TIFF, DNG, PNG, JPEG and whole-file packing, every pixel against what Pillow, tifffile and numpy wrote;
// test/fixtures/decode/make_pictures.py made the files and read them back, the versions stand in pictures.json.
import { readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { expect, test } from 'vitest';
import expected from '../fixtures/decode/pictures.json' with { type: 'json' };
import { decodedFrom, differences, frameOf, physical, testKernels } from './fits-file.ts';

const folder = new URL('../fixtures/decode/pictures/', import.meta.url);
interface Expected {
  pixels: string;
  kind: string;
  widthPx: number;
  heightPx: number;
  planes: number;
  /** JPEG: steps by which readers may differ. */
  tolerance?: number;
  unit?: number;
  pictures?: number;
  mosaic?: string;
  exposureS?: number;
  format?: string;
}
const files = Object.entries(expected.files as unknown as Record<string, Expected | { same: string }>);
const pictures = files.filter((entry): entry is [string, Expected] => 'pixels' in entry[1]);
const packed = files.filter(([, want]) => 'same' in want);

const pixelsOf = (name: string) =>
  new Float32Array(
    Uint8Array.from(Buffer.from((expected.arrays as Record<string, string>)[name], 'base64')).buffer,
  );

test.each(pictures)('%s: every pixel', async (name, want) => {
  const bytes = readFileSync(new URL(name, folder));
  const { frame, contents } = await decodedFrom(
    bytes,
    name,
    want.unit === undefined ? {} : { unit: want.unit },
  );
  const { widthPx, heightPx, planes } = want;
  expect(frame).toMatchObject({ widthPx, heightPx, planes });
  expect(frame.pixels.kind).toBe(want.kind);
  const got = physical(await testKernels(), frame);
  const pixels = pixelsOf(want.pixels);
  if (want.tolerance)
    expect(Math.max(...got.map((value, i) => Math.abs(value - pixels[i])))).toBeLessThanOrEqual(
      want.tolerance,
    );
  else expect(differences(got, pixels)).toEqual([]);
  expect(contents?.pictures.length ?? 1).toBe(want.pictures ?? 1);
  if (want.unit !== undefined) expect(contents!.chosen.unit).toBe(want.unit);
  expect(frame.mosaic?.pattern.join('') ?? null).toBe(want.mosaic ?? null);
  expect(frame.meta.exposureS).toBe(want.exposureS ?? null);
  if (want.format) expect(frame.meta.format).toBe(want.format);
});

test.each(packed)('%s unpacks to the FITS inside', async (name) => {
  const plain = await frameOf(gunzipSync(readFileSync(new URL('../u16.fits.gz', folder))));
  const kernels = await testKernels();
  const want = physical(kernels, plain);
  const frame = await frameOf(readFileSync(new URL(name, folder)));
  expect(differences(physical(kernels, frame), want)).toEqual([]);
});
