import { describe, expect, test } from 'vitest';
import { analyticElectrons } from '../../workers/simulate/analytic.ts';
import type { FitsCard } from '../../workers/simulate/fits.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { doubtsOf, NO_DOUBTS } from '../../workers/verdict/doubts.ts';
import { measureFrame, scatter, testSession, type Frame16 } from '../support/star-frames.ts';

// Whether all objects of a frame are alike, as stars are, and alike bright and faint, as in raw light.

const [widthPx, heightPx] = [640, 480];
const SKY = 120;

/** Objects each with its own width; a curve from electrons to values bends the light of the whole picture. */
function frameOf(
  fwhmPxOf: (index: number, x: number, y: number) => number,
  curve: (electrons: number) => number = (electrons) => 300 + electrons,
  count = 60,
): Frame16 {
  const places = scatter(count, widthPx, heightPx, 42, 24, 11);
  const light = new Float64Array(widthPx * heightPx).fill(SKY);
  places.forEach(({ xPx, yPx }, i) => {
    const fluxElectrons = 3000 * 40 ** (((i * 7) % places.length) / places.length);
    const one = analyticElectrons({
      profile: 'moffat',
      beta: 3.5,
      fwhmPx: fwhmPxOf(i, xPx, yPx),
      widthPx,
      heightPx,
      stars: [{ xPx, yPx, fluxElectrons }],
      skyElectrons: 0,
      readNoiseElectrons: 2,
      gainElectronsPerAdu: 1,
      offsetAdu: 0,
      seed: 1,
    });
    for (let p = 0; p < light.length; p++) light[p] += one[p];
  });
  const random = createRandom(5);
  const pixels = Uint16Array.from(light, (electrons) =>
    Math.round(Math.min(65_535, Math.max(0, curve(random.poisson(electrons) + 2 * random.normal())))),
  );
  return { pixels, widthPx, heightPx };
}

/** What the stamps of a frame say of all its objects. */
async function natureOf(frame: Frame16, cards: FitsCard[] = []) {
  const { handle } = await measureFrame(frame, cards);
  const stamps = (await testSession()).stamps(handle, 8);
  if (!stamps.ok) throw new Error(stamps.fault.message);
  return stamps.value.nature!;
}

describe('sizes of objects', () => {
  test('stars under tilt and curvature: a few per cent beyond noise, bright and faint alike', async () => {
    const nature = await natureOf(
      frameOf((_, x, y) => 2.6 + (1.2 * x) / widthPx + 1.5 * ((y - heightPx / 2) / heightPx) ** 2),
      [['EGAIN', 1]],
    );
    const { scatter: differ, perLight, objects } = nature.sizes!;
    expect(objects).toBeGreaterThan(40);
    expect(differ.value).toBeLessThan(0.03);
    expect(Math.abs(perLight.value)).toBeLessThan(0.02);
    expect(doubtsOf(nature, 'none')).toEqual(NO_DOUBTS);
  });

  test('widths that scatter by 30 %, as galaxies do (Shen et al. 2003), are seen for what they are', async () => {
    const random = createRandom(8);
    const widths = Array.from({ length: 100 }, () => 3.4 * Math.exp(0.3 * random.normal()));
    const nature = await natureOf(
      frameOf((i) => widths[i]),
      [['EGAIN', 1]],
    );
    const { scatter: differ } = nature.sizes!;
    // Those far wider than their neighbours may be passed over as run together, which takes a little off.
    expect(differ.value).toBeGreaterThan(0.18);
    expect(differ.value).toBeLessThan(0.3 + 3 * differ.sigma);
    expect(doubtsOf(nature, 'none').notAllStars).toBe(true);
  });

  test('the root of the light widens bright stars; the scatter besides stays small', async () => {
    // A stretch by a power of 1 / 2.2 with the sky made black, as pictures are shown (IEC 61966-2-1 comes near it).
    const stretch = (electrons: number) => 60_000 * Math.max((electrons - 60) / 40_000, 0) ** (1 / 2.2);
    const nature = await natureOf(frameOf(() => 3, stretch));
    const { perLight } = nature.sizes!;
    // Widths grow by sqrt(2.2) over the factor of 40 between the stars at most: ln 1.48 / ln 40 = 0.106.
    expect(perLight.value).toBeGreaterThan(0.08);
    expect(perLight.value).toBeLessThan(0.12);
    expect(nature.sizes!.scatter.value).toBeLessThan(0.03);
    expect(doubtsOf(nature, 'none')).toMatchObject({ notAllStars: false, brightnessAltered: true });
  });

  test('few objects say nothing', async () => {
    const nature = await natureOf(
      frameOf(() => 3, undefined, 12),
      [['EGAIN', 1]],
    );
    expect(nature.sizes).toBeNull();
  });
});
