import { expect, test } from 'vitest';
import { modelWidths } from '../../workers/fit/model-width.ts';
import { P, PARAMETER_COUNT } from '../../workers/fit/parameters.ts';
import { loadKernels } from '../../workers/wasm/kernels.ts';

const kernels = await loadKernels();
const field = (values: Record<number, number>) => {
  const theta = new Float64Array(PARAMETER_COUNT);
  for (const [index, value] of Object.entries(values)) theta[Number(index)] = value;
  return theta;
};

test('a large telescope in Kolmogorov air: the width is that of the air with the pixel', () => {
  // Optics of no extent (f/0.5 on 4 um pixels: fringe 0.07 px); FWHM = 0.975863 lambda / r0 is the parameter's own
  // definition, half-light radius apart (GalSim kolmogorov.py; Racine 1996 PASP 108, 699).
  const optics = { focalRatio: 0.5, pixelUm: 4, obstruction: 0, wavelengthUm: 0.555 };
  const widths = modelWidths(kernels, optics, 20);
  const width = widths.fwhmAt(field({ [P.lnBlur]: Math.log(6) }), 'none', 0, 0);
  widths.close();
  // A square pixel of 1 px adds about (1/12) * 5.545 in squared width: sqrt(36 + 0.46).
  expect(width).toBeGreaterThan(6);
  expect(width).toBeLessThan(6.12);
});

test('diffraction alone: 1.029 lambda F for a full pupil, 0.981 for eps = 0.3 (handbook section 5.1)', () => {
  for (const [obstruction, expected] of [
    [0, 1.029],
    [0.3, 0.9811],
  ]) {
    // lambda F = 8 px; a round blur of 0.4 px and the pixel add (0.4^2 + 0.46) to 67.8 of squared width, under 0.5 %.
    const optics = { focalRatio: 40, pixelUm: 2.775, obstruction, wavelengthUm: 0.555 };
    const widths = modelWidths(kernels, optics, 24);
    const width = widths.fwhmAt(field({ [P.lnBlur]: Math.log(0.4) }), 'none', 0, 0);
    widths.close();
    expect(width / 8).toBeGreaterThan(expected * 0.998);
    expect(width / 8).toBeLessThan(expected * 1.012);
  }
});

test('depth of focus: a quarter wave of defocus (2 lambda F^2) lowers the peak to eight tenths (Rayleigh)', async () => {
  const { makePlan } = await import('../../workers/fit/plan.ts');
  const { roundBlur } = await import('../../workers/fit/round-blur.ts');
  const { pathTable } = await import('../../workers/fit/path.ts');
  const { starImages } = await import('../../workers/fit/star-image.ts');
  const { LOCALS } = await import('../../workers/fit/parameters.ts');
  const optics = { focalRatio: 40, pixelUm: 2.22, obstruction: 0, wavelengthUm: 0.555 };
  const plan = makePlan(kernels, { optics, sidePx: 41, periodSides: 1.6, maxFrequency: 1 });
  const peakAt = (dzUm: number) => {
    const scene = {
      plan,
      round: roundBlur(plan, { blurPx: 0.4, core: 0 }),
      path: pathTable('none', 0, 0, 1),
      wanted: null,
    };
    const local = Float64Array.from(LOCALS, (name) => (name === 'defocus' ? dzUm / (2 * 40 * 2.22) : 0));
    return starImages(kernels, scene, local, 0, 0).value[20 * plan.sideStride + 20];
  };
  // Strehl of a quarter wave of defocus: (sin x / x)^2 with x = pi / 4, 0.8106 (Born & Wolf 8.8, from memory).
  expect(peakAt(2 * 0.555 * 40 ** 2) / peakAt(0)).toBeCloseTo(0.8106, 2);
});
