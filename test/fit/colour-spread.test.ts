import { expect, test } from 'vitest';
import { COLOUR_SKEW, COLOUR_SPREAD, noticeableShift } from '../../workers/fit/colour-spread.ts';
import { LOCALS } from '../../workers/fit/parameters.ts';
import { pathTable } from '../../workers/fit/path.ts';
import { makePlan } from '../../workers/fit/plan.ts';
import { roundBlur } from '../../workers/fit/round-blur.ts';
import { starImages } from '../../workers/fit/star-image.ts';
import { refractivity } from '../../workers/simulate/atmosphere.ts';
import { VISIBLE_LIGHT } from '../../workers/simulate/scene.ts';
import { loadKernels } from '../../workers/wasm/kernels.ts';

/** Places of light along the dispersion, and how much of it. */
interface Line {
  at: number;
  light: number;
}
function cumulants(lines: Line[]) {
  const light = lines.reduce((sum, line) => sum + line.light, 0);
  const mean = lines.reduce((sum, line) => sum + (line.light * line.at) / light, 0);
  const central = (n: number) =>
    lines.reduce((sum, line) => sum + (line.light * (line.at - mean) ** n) / light, 0);
  return { mean, variance: central(2), skewness: central(3) / central(2) ** 1.5 };
}
/** More refraction = towards blue, so the place towards red falls with it. */
const place = (wavelengthUm: number) => -refractivity(wavelengthUm);
const through = (channel: 'R' | 'G' | 'B') =>
  cumulants(VISIBLE_LIGHT.map((s) => ({ at: place(s.wavelengthUm), light: s[channel] })));

test('the simulator’s filters spread green as far as is expected', () => {
  const [red, green, blue] = (['R', 'G', 'B'] as const).map(through);
  const ratio = green.variance / (red.mean - blue.mean) ** 2;
  expect(Math.abs(ratio - COLOUR_SPREAD.centre)).toBeLessThan(2 * COLOUR_SPREAD.sigma);
  expect(green.skewness).toBeCloseTo(COLOUR_SKEW, 1);
});

test('a symmetric green band has the skewness that the refraction of air gives it', () => {
  // Refractivity of air: Filippenko 1982 PASP 94, 715, eq. 1; a bell 90 nm wide (FWHM) about 530 nm.
  const lines = Array.from({ length: 301 }, (_, i) => {
    const offset = (i - 150) / 1000;
    return { at: place(0.53 + offset), light: Math.exp(-0.5 * (offset / (0.09 / 2.3548)) ** 2) };
  });
  expect(cumulants(lines).skewness).toBeGreaterThan(COLOUR_SKEW - 0.25);
  expect(cumulants(lines).skewness).toBeLessThan(COLOUR_SKEW + 0.25);
});

test('the drawn star has the variance and the skewness of the colours along the shift, and its tail towards blue', async () => {
  const kernels = await loadKernels();
  const side = 41;
  const picture = (colourSpread: number) => {
    const optics = {
      focalRatio: 4,
      pixelUm: 3.8,
      obstruction: 0,
      wavelengthUm: 0.555,
      colourShiftPx: { x: 6, y: 0 },
    };
    const plan = makePlan(kernels, { optics, sidePx: side, periodSides: 2, maxFrequency: 0.5 });
    const round = roundBlur(plan, { blurPx: 3, core: 0 });
    const scene = { plan, round, path: pathTable('none', 0, 0, 0), wanted: null };
    const local = Float64Array.from(LOCALS, (name) => (name === 'colourSpread' ? colourSpread : 0));
    const { value } = starImages(kernels, scene, local, 0, 0);
    const columns = Array.from({ length: side }, (_, x) => ({
      at: x - (side - 1) / 2,
      light: Array.from({ length: side }, (_, y) => value[y * plan.sideStride + x]).reduce(
        (a, b) => a + b,
        0,
      ),
    }));
    const { mean, variance, skewness } = cumulants(columns);
    return { mean, variance, third: skewness * variance ** 1.5 };
  };
  const [plain, drawn] = [picture(0), picture(0.1)];
  // Cumulants of a convolution add; the turbulent wings cut by the stamp leave per cents.
  const added = 0.1 * 6 ** 2;
  expect(drawn.variance - plain.variance).toBeGreaterThan(0.93 * added);
  expect(drawn.variance - plain.variance).toBeLessThan(1.03 * added);
  const third = COLOUR_SKEW * added ** 1.5;
  expect((drawn.third - plain.third) / third).toBeGreaterThan(0.8);
  expect((drawn.third - plain.third) / third).toBeLessThan(1.2);
  expect(Math.abs(drawn.mean - plain.mean)).toBeLessThan(0.02);
});

test('a shift counts when it is sure and large enough to draw out the green', () => {
  const moments = { moments: new Float64Array(7 * 3).fill(4) };
  const shift = (value: number, sigma: number) => ({ x: { value, sigma }, y: { value: 0, sigma } });
  expect(noticeableShift(shift(1, 0.02), moments, [0, 1, 2])).toEqual({ x: 1, y: 0 });
  expect(noticeableShift(shift(1, 0.4), moments, [0, 1, 2])).toBeNull();
  expect(noticeableShift(shift(0.1, 0.002), moments, [0, 1, 2])).toBeNull();
  expect(noticeableShift(null, moments, [0, 1, 2])).toBeNull();
});
