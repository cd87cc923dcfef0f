import { describe, expect, it } from 'vitest';
import { converterStepAdu, exposeSensor } from '../../workers/simulate/detector.ts';
import { collectLight, illumination, simulateExposure } from '../../workers/simulate/exposure.ts';
import { drawStars } from '../../workers/simulate/field.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { makeScene, type SceneChanges } from '../../workers/simulate/scene.ts';

const NO_STARS = { stars: [] };
const small = (changes: SceneChanges) =>
  makeScene({ ...changes, rig: { widthPx: 240, heightPx: 200, ...changes.rig } });

const mean = (values: ArrayLike<number>) => Array.from(values).reduce((a, b) => a + b, 0) / values.length;
const variance = (values: ArrayLike<number>) => {
  const m = mean(values);
  return mean(Array.from(values, (v) => (v - m) ** 2));
};

describe('camera', () => {
  // Photon transfer: variance = signal / gain + (read noise / gain)^2, plus step^2 / 12 of the converter.
  it.each([
    [16, 0.8],
    [14, 0.5],
    [12, 0.25],
  ])('%i bit, %f electrons per ADU: mean and variance of an even light', (bits, gain) => {
    const { rig } = small({
      rig: { bits, gainElectronsPerAdu: gain, readNoiseElectrons: 3, offsetAdu: 960, fullWellElectrons: 1e5 },
    });
    const n = rig.widthPx * rig.heightPx;
    const pixels = exposeSensor(new Float64Array(n).fill(400), rig, createRandom(5));
    const step = converterStepAdu(bits);
    const expected = (400 + 9) / gain ** 2 + step ** 2 / 12;
    expect(Math.abs(mean(pixels) - 960 - 400 / gain)).toBeLessThan(4 * Math.sqrt(expected / n));
    expect(Math.abs(variance(pixels) / expected - 1)).toBeLessThan(4 * Math.sqrt(2 / n));
    expect(pixels.every((value) => value % step === 0)).toBe(true);
  });

  it('clips at the full well and at the converter', () => {
    const light = new Float64Array(48000).fill(1e6);
    const well = small({
      rig: { fullWellElectrons: 20000, gainElectronsPerAdu: 1, readNoiseElectrons: 0, offsetAdu: 100 },
    });
    expect(new Set(exposeSensor(light, well.rig, createRandom(1)))).toEqual(new Set([20100]));
    const converter = small({ rig: { bits: 12, gainElectronsPerAdu: 0.1 } });
    expect(new Set(exposeSensor(light, converter.rig, createRandom(1)))).toEqual(new Set([65520]));
  });

  it('lets charge run along the column, losing none inside the frame', () => {
    const { rig } = small({
      rig: {
        widthPx: 3,
        heightPx: 101,
        bleeds: true,
        fullWellElectrons: 1000,
        readNoiseElectrons: 0,
        gainElectronsPerAdu: 1,
        offsetAdu: 0,
      },
    });
    const light = new Float64Array(303);
    light[50 * 3 + 1] = 20000;
    const pixels = exposeSensor(light, rig, createRandom(2));
    const column = Array.from({ length: 101 }, (_, y) => pixels[3 * y + 1]);
    expect(Math.abs(column.reduce((a, b) => a + b, 0) - 20000)).toBeLessThan(4 * Math.sqrt(20000) + 101);
    expect(Math.max(...column)).toBe(1000);
    const full = column.flatMap((value, y) => (value === 1000 ? [y] : []));
    expect(50 - full[0]).toBeGreaterThan(7);
    expect(full.at(-1)! - 50).toBeGreaterThan(7);
    expect(pixels.filter((_, i) => i % 3 !== 1).every((value) => value === 0)).toBe(true);
  });
});

describe('exposure', () => {
  it('collects each star with its flux, dimmed by vignetting, over sky with its gradient', () => {
    const star = { xPx: 60.3, yPx: 140.8, fluxElectrons: 1e5 };
    const scene = small({
      stars: [star],
      rig: { vignetting: 0.4, fullWellElectrons: 1e9 },
      sky: { skyElectronsPerPx: 50, gradient: { x: 0.2, y: -0.1 }, seeingArcsec: 1 },
    });
    const lit = collectLight(scene);
    const dark = collectLight(makeScene({ ...NO_STARS }, scene));
    const flux = lit.electrons.reduce((sum, value, i) => sum + value - dark.electrons[i], 0);
    const expected = 1e5 * illumination(scene.rig, star.xPx, star.yPx);
    expect(lit.stars[0].fluxElectrons).toBe(expected);
    // Wings below a tenth of the noise are not drawn.
    expect(flux / expected).toBeGreaterThan(0.985);
    expect(flux / expected).toBeLessThan(1.0005);
    expect(illumination(scene.rig, -0.5, -0.5)).toBeCloseTo(0.6, 1);
    const at = (x: number, y: number) => dark.electrons[y * 240 + x];
    expect(at(239, 100) / at(0, 100)).toBeCloseTo(1.2 / 0.8, 2);
    expect(at(120, 199) / at(120, 0)).toBeCloseTo(0.9 / 1.1, 2);
  });

  it('shows each channel of a mosaic its own light', () => {
    const scene = small({ ...NO_STARS, rig: { mosaic: 'GBRG' }, sky: { skyElectronsPerPx: 1000 } });
    const { electrons } = collectLight(scene);
    const share = (channel: 'R' | 'G' | 'B') =>
      scene.spectrum.reduce((sum, sample) => sum + sample[channel], 0);
    const row = (y: number) => Array.from(electrons.subarray(y * 240, y * 240 + 2), (v) => v / 1000);
    expect(row(0)[0]).toBeCloseTo(share('G'), 12);
    expect(row(0)[1]).toBeCloseTo(share('B'), 12);
    expect(row(1)[0]).toBeCloseTo(share('R'), 12);
    expect(row(1)[1]).toBeCloseTo(share('G'), 12);
  });

  it('separates the colours of a star by dispersion: red minus blue', () => {
    const scene = small({
      stars: [{ xPx: 120, yPx: 100, fluxElectrons: 1e6 }],
      rig: { mosaic: 'RGGB', focalLengthMm: 1500 },
      sky: { skyElectronsPerPx: 0, dispersion: { lengthArcsec: 4, angleDeg: 90 } },
    });
    const { electrons } = collectLight(scene);
    const centroidY = (px: number, py: number) => {
      let [s, sy] = [0, 0];
      for (let y = py; y < 200; y += 2)
        for (let x = px; x < 240; x += 2) {
          s += electrons[y * 240 + x];
          sy += y * electrons[y * 240 + x];
        }
      return sy / s;
    };
    // 4 arcsec between 0.65 and 0.45 um are 7.65 px of 3.8 um at 1500 mm; the filters' mean colours lie closer.
    const apart = centroidY(0, 0) - centroidY(1, 1);
    expect(apart).toBeGreaterThan(4);
    expect(apart).toBeLessThan(7.65);
  });

  it('draws the asked number of stars with the asked distribution', () => {
    const stars = drawStars(
      small({ stars: { count: 20000, faintestElectrons: 1000, brightestElectrons: 1e6, slope: 0.5 } }),
    );
    expect(stars).toHaveLength(20000);
    expect(Math.min(...stars.map((star) => star.fluxElectrons))).toBeGreaterThanOrEqual(1000);
    expect(Math.max(...stars.map((star) => star.fluxElectrons))).toBeLessThanOrEqual(1e6);
    // Part brighter than F: (F^-s - Fmax^-s) / (Fmin^-s - Fmax^-s).
    const part = (1e4 ** -0.5 - 1e6 ** -0.5) / (1e3 ** -0.5 - 1e6 ** -0.5);
    const seen = stars.filter((star) => star.fluxElectrons > 1e4).length / 20000;
    expect(Math.abs(seen - part)).toBeLessThan(4 * Math.sqrt((part * (1 - part)) / 20000));
  });

  it('adds hot pixels, cosmic rays, galaxies and a trail without moving the stars', () => {
    const plain = small({
      stars: { count: 5, faintestElectrons: 2000, brightestElectrons: 1e4, slope: 0.5 },
    });
    const messy = makeScene(
      { disturbances: { hotPixels: 30, cosmicRays: 3, galaxies: 1, satellite: true } },
      plain,
    );
    const [a, b] = [collectLight(plain), collectLight(messy)];
    expect(b.stars).toEqual(a.stars);
    const added = b.electrons.map((value, i) => value - a.electrons[i]);
    expect(Math.min(...added)).toBeGreaterThan(-1e-6);
    expect(b.galaxies).toHaveLength(1);
    const { fromPx, toPx, electronsPerPx } = b.trail!;
    // Across the trail, a column holds its light per pixel of length times the length per column.
    const perColumn = electronsPerPx * Math.hypot(1, (toPx[1] - fromPx[1]) / (toPx[0] - fromPx[0]));
    const columns = Array.from({ length: 240 }, (_, x) =>
      Array.from({ length: 200 }, (_, y) => added[y * 240 + x]).reduce((s, v) => s + v, 0),
    );
    columns.sort((p, q) => p - q);
    expect(columns[24] / perColumn).toBeGreaterThan(0.9);
    expect(columns[24] / perColumn).toBeLessThan(1.1);
  });

  it('repeats itself for one seed, to the last bit', () => {
    const scene = small({
      seed: 42,
      stars: { count: 8, faintestElectrons: 2000, brightestElectrons: 3e4, slope: 0.5 },
      disturbances: { hotPixels: 10, cosmicRays: 2 },
    });
    expect(simulateExposure(scene).pixels).toEqual(simulateExposure(scene).pixels);
    expect(simulateExposure(makeScene({ seed: 43 }, scene)).pixels).not.toEqual(
      simulateExposure(scene).pixels,
    );
  });
});
