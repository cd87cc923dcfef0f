import { describe, expect, it } from 'vitest';
import {
  dispersionUm,
  refractivity,
  seeingAtArcsec,
  vonKarmanStructure,
} from '../../workers/simulate/atmosphere.ts';
import { createRenderer, renderStar } from '../../workers/simulate/render.ts';
import { makeScene, umPerArcsec, type Sky } from '../../workers/simulate/scene.ts';
import { halfFluxDiameterPx, halfPeakFwhmPx } from '../../workers/simulate/widths.ts';

const GREEN = [{ wavelengthUm: 0.55, focusShiftUm: 0, mono: 1, R: 1, G: 1, B: 1 }];
/** A large telescope, so that its diffraction is a hundredth of the seeing. */
const rig = { focalLengthMm: 8000, focalRatio: 2, pixelSizeUm: 4 };
const scale = umPerArcsec(makeScene({ rig }).rig);

function widths(sky: Partial<Sky>) {
  const { values, sidePx } = renderStar(makeScene({ rig, sky, spectrum: GREEN }), 600, 400, 141);
  const grid = { values, side: sidePx, stepPx: rig.pixelSizeUm / scale };
  return { fwhmArcsec: halfPeakFwhmPx(grid), hfdArcsec: halfFluxDiameterPx(grid, 1) };
}

describe('air', () => {
  it('makes a Kolmogorov star of the given full width, with HFD / FWHM = 1.13707 (Racine 1996)', () => {
    const { fwhmArcsec, hfdArcsec } = widths({ seeingArcsec: 3 });
    expect(fwhmArcsec / 3).toBeCloseTo(1, 2);
    expect(hfdArcsec / fwhmArcsec).toBeCloseTo(1.137, 2);
  });

  it('blurs red less than blue, as the wavelength to the -1/5', () => {
    expect(seeingAtArcsec({ seeingArcsec: 2 }, 0.7) / seeingAtArcsec({ seeingArcsec: 2 }, 0.5)).toBeCloseTo(
      0.93492,
      5,
    );
  });

  it('follows Kolmogorov well inside the outer scale and levels off outside', () => {
    // 6.88388 (r/r0)^(5/3); at infinity twice the variance 0.0859 (L0/r0)^(5/3) (von Karman spectrum; from memory).
    expect(vonKarmanStructure(1e-4, 0.1, 1e4) / (6.88388 * 1e-3 ** (5 / 3))).toBeCloseTo(1, 2);
    expect(vonKarmanStructure(1e3, 0.1, 10) / (2 * 0.0859 * 100 ** (5 / 3))).toBeCloseTo(1, 2);
  });

  it('is sharper with a finite outer scale, as sqrt(1 - 2.183 (r0/L0)^0.356)', () => {
    // Tokovinin 2002 PASP 114, 1156, from memory; good to 1 % for L0/r0 above 20.
    const fried = (0.975863 * 0.55e-6) / (2 / 206264.806);
    const infinite = widths({ seeingArcsec: 2 }).fwhmArcsec;
    const finite = widths({ seeingArcsec: 2, outerScaleM: 20 }).fwhmArcsec;
    expect(finite / infinite).toBeCloseTo(Math.sqrt(1 - 2.183 * (fried / 20) ** 0.356), 1.7);
  });

  it('scatters the given part of the light wide, as (1 + (r / w)^2)^(-3/2)', () => {
    const radii = Float64Array.of(2.5, 3, 3.5).map((arcsec) => (arcsec * scale) / rig.pixelSizeUm);
    const line = (aureole: Sky['aureole']) => {
      const wide = Float64Array.of(-150, 0, ...radii, 150); // the outermost ask for a window that holds the wings
      const scene = makeScene({ rig, sky: { seeingArcsec: 0.2, aureole }, spectrum: GREEN });
      const [values] = createRenderer(scene).picture(600, 400, wide, Float64Array.of(0), {
        channels: ['mono'],
      });
      return values.subarray(2, 5);
    };
    const [hazy, clean] = [line({ fraction: 0.1, widthArcsec: 1 }), line(null)];
    const pixelArcsec = rig.pixelSizeUm / scale;
    [2.5, 3, 3.5].forEach((r, i) => {
      const aureole = (0.1 * (1 + r ** 2) ** -1.5 * pixelArcsec ** 2) / (2 * Math.PI);
      // Wings of the next copies of the picture, 46 arcsec away, and the blur of the air add a little.
      expect((hazy[i] - 0.9 * clean[i]) / aureole).toBeGreaterThan(0.99);
      expect((hazy[i] - 0.9 * clean[i]) / aureole).toBeLessThan(1.04);
    });
  });

  it('bends light as the refractivity of air', () => {
    // Filippenko 1982 PASP 94, 715: (n - 1) 10^6 at 15 C, 760 mm.
    for (const [wavelength, value] of [
      [0.4, 282.755],
      [0.5, 278.964],
      [0.55, 277.826],
      [0.65, 276.31],
      [0.7, 275.79],
    ])
      expect(refractivity(wavelength)).toBeCloseTo(value, 2);
  });

  it('spreads colours along the given direction, red minus blue', () => {
    const scene = makeScene({ rig, sky: { dispersion: { lengthArcsec: 1.5, angleDeg: 120 } } });
    const red = dispersionUm(scene.sky, scene.rig, 0.65);
    const blue = dispersionUm(scene.sky, scene.rig, 0.45);
    expect((red.x - blue.x) / scale).toBeCloseTo(1.5 * Math.cos((2 * Math.PI) / 3), 9);
    expect((red.y - blue.y) / scale).toBeCloseTo(1.5 * Math.sin((2 * Math.PI) / 3), 9);
  });
});
