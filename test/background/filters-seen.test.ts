import { describe, expect, test } from 'vitest';
import { withFiltersSeen } from '../../workers/background/filters-seen.ts';
import type { Frame, Mosaic } from '../../workers/protocol/frame.ts';
import { analyticFrame } from '../../workers/simulate/analytic.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import type { MosaicName } from '../../workers/simulate/mosaic.ts';
import { inArena, planeOf, testKernels } from '../support/planes.ts';

const [widthPx, heightPx] = [420, 310];
const drawn = (mosaic: MosaicName | null, skyElectrons = 120) =>
  analyticFrame({
    profile: 'gaussian',
    fwhmPx: 3,
    widthPx,
    heightPx,
    skyElectrons,
    readNoiseElectrons: 2,
    gainElectronsPerAdu: 0.8,
    offsetAdu: 300,
    seed: 4,
    mosaic,
    stars: Array.from({ length: 30 }, (_, i) => ({
      xPx: 20 + 13 * i,
      yPx: 15 + ((i * 97) % 280),
      fluxElectrons: 9000,
    })),
  }).pixels;

async function seenIn(pixels: Uint16Array | Float32Array, says: MosaicName | null): Promise<Frame> {
  const kernels = await testKernels();
  return inArena(kernels, () => {
    const { kind, address } = planeOf(kernels, { pixels, widthPx, heightPx });
    const mosaic = says ? ({ pattern: [...says] } as Mosaic) : null;
    const frame = { widthPx, heightPx, planes: 1, pixels: { kind, address }, mosaic, warnings: [] };
    return withFiltersSeen(frame as unknown as Frame, kernels.arena);
  });
}

describe('colour filters that the sky itself shows', () => {
  test.each(['RGGB', 'BGGR', 'GRBG', 'GBRG'] as const)(
    '%s without a word in the file: the greens are found',
    async (name) => {
      const { mosaic, warnings } = await seenIn(drawn(name), null);
      const greens = [...name].map((letter) => letter === 'G');
      expect(mosaic!.pattern.map((letter) => letter === 'G')).toEqual(greens);
      expect([...mosaic!.pattern].sort().join('')).toBe('BGGR');
      expect(warnings.join()).toMatch(/Red and blue may be exchanged/);
    },
  );

  test('a monochrome sensor stays one, also with columns or rows that alternate', async () => {
    for (const offset of [() => 0, (x: number) => 6 * (x & 1), (_: number, y: number) => 6 * (y & 1)]) {
      const pixels = drawn(null).map((value, i) => value + offset(i % widthPx, Math.floor(i / widthPx)));
      const frame = await seenIn(pixels, null);
      expect(frame.mosaic).toBeNull();
      expect(frame.warnings).toEqual([]);
    }
  });

  test('noise alone shows no filters', async () => {
    const random = createRandom(8);
    const pixels = new Uint16Array(widthPx * heightPx).map(() => Math.round(400 + 12 * random.normal()));
    expect((await seenIn(pixels, null)).mosaic).toBeNull();
  });

  test('greens on the other diagonal than the file says: the file is kept, the conflict told', async () => {
    const agreed = await seenIn(drawn('RGGB'), 'RGGB');
    expect(agreed.warnings).toEqual([]);
    const turned = await seenIn(drawn('GBRG'), 'RGGB');
    expect(turned.mosaic!.pattern.join('')).toBe('RGGB');
    expect(turned.warnings.join()).toMatch(/other diagonal/);
  });
});
