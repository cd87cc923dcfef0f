import { describe, expect, it } from 'vitest';
import { createRenderer, renderStar } from '../../workers/simulate/render.ts';
import { makeScene, umPerArcsec, type SceneChanges } from '../../workers/simulate/scene.ts';
import { fwhmAt } from '../../workers/simulate/truth.ts';
import { halfFluxDiameterPx, halfPeakFwhmPx } from '../../workers/simulate/widths.ts';

const GREEN = [{ wavelengthUm: 0.55, focusShiftUm: 0, mono: 1, R: 1, G: 1, B: 1 }];
/** One wavelength, no air, fine pixels: the pattern of the optics alone. */
const vacuum = (changes: SceneChanges) =>
  makeScene({ ...changes, spectrum: GREEN, sky: { seeingArcsec: 0, ...changes.sky } });

/** Central second moments of a square picture within `radius` samples of its middle, on top of nothing. */
function momentsWithin(values: Float64Array, side: number, radius: number) {
  const half = (side - 1) / 2;
  const each = (weigh: (x: number, y: number) => number) => {
    let sum = 0;
    for (let y = -half, i = 0; y <= half; y++)
      for (let x = -half; x <= half; x++, i++)
        if (x * x + y * y <= radius * radius) sum += values[i] * weigh(x, y);
    return sum;
  };
  const s = each(() => 1);
  const cx = each((x) => x) / s;
  const cy = each((_, y) => y) / s;
  return {
    sum: s,
    cx,
    cy,
    xx: each((x) => (x - cx) ** 2) / s,
    yy: each((_, y) => (y - cy) ** 2) / s,
    xy: each((x, y) => (x - cx) * (y - cy)) / s,
    xxx: each((x) => (x - cx) ** 3) / s,
  };
}

describe('diffraction pattern of an annulus', () => {
  // From I(v) = [2J1(v)/v - e^2 2J1(ev)/(ev)]^2: full width and diameter of half of the light in lambda F.
  // The diameter needs all of the wings; their light beyond the grid is counted by the total of 1.
  it.each([
    [0, 1.029, 1.0697],
    [0.2, 1.0068, 1.1172],
    [0.3, 0.9811, 1.1904],
    [0.5, 0.9117, 2.5065],
  ])('obstruction %f', (obstruction, fwhm, hfd) => {
    const scene = vacuum({ rig: { focalRatio: 4, focalLengthMm: 400, obstruction, pixelSizeUm: 0.05 } });
    const lambdaF = (0.55 * 4) / 0.05;
    const { values, sidePx } = renderStar(scene, 600, 400, 201);
    const grid = { values, side: sidePx, stepPx: 1 };
    expect(halfPeakFwhmPx(grid) / lambdaF).toBeCloseTo(fwhm, 2.7);
    expect(halfFluxDiameterPx(grid, 1) / lambdaF / hfd).toBeCloseTo(1, 2);
  });

  it('is dark at 1.2197 lambda F of an open circle', () => {
    const scene = vacuum({ rig: { focalRatio: 4, focalLengthMm: 400, pixelSizeUm: 0.05 } });
    const lambdaF = (0.55 * 4) / 0.05;
    const radii = Float64Array.from({ length: 400 }, (_, i) => (0.5 + i / 400) * lambdaF);
    const [line] = createRenderer(scene).picture(600, 400, radii, Float64Array.of(0), { channels: ['mono'] });
    const darkest = radii[line.indexOf(Math.min(...line))] / lambdaF;
    expect(darkest).toBeCloseTo(1.2197, 2);
  });

  it('throws the light of vanes across them', () => {
    const vanes = { count: 2, widthFraction: 0.05, angleDeg: 0 };
    const scene = vacuum({ rig: { focalRatio: 4, pixelSizeUm: 1, vanes } });
    const far = Float64Array.of(20, 25, 30);
    const here = Float64Array.of(0);
    const renderer = createRenderer(scene);
    const sum = (values: Float64Array) => values.reduce((a, b) => a + b, 0);
    const [along] = renderer.picture(600, 400, far, here, { channels: ['mono'] });
    const [across] = renderer.picture(600, 400, here, far, { channels: ['mono'] });
    expect(sum(across)).toBeGreaterThan(5 * sum(along));
  });
});

describe('wave optics against ray optics', () => {
  // D = 100 mm, F/4, 0.55 um, Gaussian blur of 6 um, unweighted moments within 40 um, unaberrated star subtracted:
  // values of an independent FFT calculation; rays alone give 7.63/2.54, 30.5/10.2, 44.6/24.2, 122/40.7, 127/60.0.
  it.each([
    [0, 1, 0, 6.91, 2.31],
    [0, 2, 0, 27.5, 9.2],
    [0, 2, 60, 40.2, 22.3],
    [0, 4, 0, 106, 36.2],
    [0.3, 4, 60, 106, 53.7],
  ])('obstruction %f, h = %f mm, %f um out of focus', (obstruction, h, focusUm, xx, yy) => {
    const rig = {
      focalLengthMm: 400,
      focalRatio: 4,
      obstruction,
      pixelSizeUm: 0.5,
      widthPx: 20001,
      heightPx: 3,
    };
    const jitterArcsec = 6 / 2.35482 / umPerArcsec(makeScene({ rig }).rig);
    const star = (optics: SceneChanges['optics']) => {
      const scene = vacuum({ rig, optics, sky: { jitterArcsec } });
      // The window is centred on the centroid of the rays: 2F C (1 + e^2 - 2/3) away from the axis, seen from the star.
      const C = (1000 * h) / (32 * 64);
      const centroidUm = (optics?.comaStrength ?? 0) * 8 * C * (1 + obstruction ** 2 - 2 / 3);
      const at = 10000 + (1000 * h) / 0.5;
      const offsets = Float64Array.from({ length: 161 }, (_, i) => i - 80);
      // Far samples on either side ask for a wide picture, whose copies stay out of the window.
      const along = Float64Array.of(-500, ...offsets.map((offset) => offset + centroidUm / 0.5), 500);
      const [wide] = createRenderer(scene).picture(at, 1, along, offsets, { channels: ['mono'] });
      const values = wide.filter((_, i) => i % 163 !== 0 && i % 163 !== 162);
      const m = momentsWithin(values, 161, 80);
      return { xx: m.xx / 4, yy: m.yy / 4, xxx: m.xxx };
    };
    const plain = star({});
    const bent = star({ comaStrength: 1, focusUm });
    // The reference is given to three digits.
    expect(Math.abs((bent.xx - plain.xx) / xx - 1)).toBeLessThan(0.01);
    expect(Math.abs((bent.yy - plain.yy) / yy - 1)).toBeLessThan(0.01);
    expect(bent.xxx).toBeGreaterThan(0); // tail away from the axis
  });

  it('has the half-flux diameter d sqrt((1 + e^2) / 2) of a disc of d = dz / F far out of focus', () => {
    const rig = { focalRatio: 4, obstruction: 0.3, pixelSizeUm: 2 };
    const { values, sidePx } = renderStar(vacuum({ rig, optics: { focusUm: 800 } }), 600, 400, 201);
    const expected = (200 * Math.sqrt(1.09 / 2)) / 2;
    expect(halfFluxDiameterPx({ values, side: sidePx, stepPx: 1 }, 1) / expected).toBeCloseTo(1, 2);
    // The hole: a tenth of the disc's mean brightness is not reached in its middle.
    const mean = 1 / (Math.PI * 50 ** 2 * (1 - 0.09));
    expect(values[100 * sidePx + 106]).toBeLessThan(0.2 * mean);
  });

  it('cannot tell the sign of focus and astigmatism together, but that of one of them', () => {
    const rig = { focalRatio: 4, obstruction: 0.3, pixelSizeUm: 2 };
    const star = (focusUm: number, cos: number) =>
      renderStar(vacuum({ rig, optics: { focusUm, astigmatismUm: { cos, sin: 0 } } }), 600, 400, 41).values;
    const differ = (a: Float64Array, b: Float64Array) => Math.max(...a.map((v, i) => Math.abs(v - b[i])));
    const peak = Math.max(...star(60, 0.4));
    expect(differ(star(60, 0.4), star(-60, -0.4)) / peak).toBeLessThan(1e-9);
    expect(differ(star(60, 0.4), star(60, -0.4)) / peak).toBeGreaterThan(0.1);
  });
});

describe('stars on pixels', () => {
  const everything = makeScene({
    rig: {
      focalRatio: 4,
      focalLengthMm: 500,
      obstruction: 0.3,
      pixelSizeUm: 3.5,
      widthPx: 1001,
      heightPx: 1001,
    },
    optics: { comaStrength: 1, astigmatismStrength: 1, curvatureRadiusMm: 500, tiltUmPerMm: { x: 6, y: 2 } },
    motion: [{ kind: 'drift', vectorUm: { x: 4, y: 9 } }],
  });

  it('keeps the light: all of it on a large stamp, none negative', () => {
    const { values } = renderStar(everything, 801.3, 200.8, 201);
    const wings = 0.02384 * 1.34 ** (5 / 3) * 1.2 * 3 * 100 ** (-5 / 3); // what of a 1.34-px Kolmogorov star lies beyond
    const sum = values.reduce((a, b) => a + b, 0);
    expect(sum).toBeGreaterThan(0.994 - wings);
    expect(sum).toBeLessThan(1.0005);
    expect(Math.min(...values)).toBeGreaterThan(-1e-7);
  });

  it('does not depend on the size of its stamp: nothing wraps in from outside', () => {
    const small = renderStar(everything, 801.3, 200.8, 31);
    const large = renderStar(everything, 801.3, 200.8, 151);
    const peak = Math.max(...small.values);
    let worst = 0;
    for (let y = 0; y < 31; y++)
      for (let x = 0; x < 31; x++)
        worst = Math.max(worst, Math.abs(small.values[y * 31 + x] - large.values[(y + 60) * 151 + x + 60]));
    expect(worst / peak).toBeLessThan(2e-3);
  });

  it('lies where it is put, to the sub-pixel, and drift does not pull it away', () => {
    const round = makeScene({ motion: [{ kind: 'drift', vectorUm: { x: 14, y: -5 } }] });
    for (const [x, y] of [
      [600.27, 399.64],
      [600.5, 400.5],
    ]) {
      const { values, originXPx, originYPx, sidePx } = renderStar(round, x, y, 61);
      const m = momentsWithin(values, sidePx, 29);
      expect(m.cx + originXPx + 30).toBeCloseTo(x, 2);
      expect(m.cy + originYPx + 30).toBeCloseTo(y, 2);
    }
  });

  it('turns and mirrors with the scene', () => {
    // The centre of 1001 x 1001 is (500, 500): (801, 200) mirrored in x is (199, 200).
    const mirrored = makeScene(
      {
        optics: { tiltUmPerMm: { x: -6, y: 2 } },
        motion: [{ kind: 'drift', vectorUm: { x: -4, y: 9 } }],
      },
      everything,
    );
    const turned = makeScene(
      {
        optics: { tiltUmPerMm: { x: -2, y: 6 } },
        motion: [{ kind: 'drift', vectorUm: { x: -9, y: 4 } }],
      },
      everything,
    );
    const a = renderStar(everything, 801, 200, 31).values;
    const b = renderStar(mirrored, 199, 200, 31).values;
    // A quarter turn from +x towards +y: (dx, dy) = (301, -300) goes to (300, 301).
    const c = renderStar(turned, 800, 801, 31).values;
    for (let y = 0; y < 31; y++) {
      for (let x = 0; x < 31; x++) {
        expect(b[y * 31 + 30 - x]).toBeCloseTo(a[y * 31 + x], 9);
        expect(c[x * 31 + 30 - y]).toBeCloseTo(a[y * 31 + x], 9);
      }
    }
  });

  it('has the width of a Gaussian through the pixel where only shake matters', () => {
    // Gaussian of sigma 1 px seen through a unit pixel: 2.454922 px (erf products, contour traced by scipy).
    const rig = { focalLengthMm: 400, focalRatio: 1, pixelSizeUm: 20 };
    const scene = vacuum({ rig, sky: { jitterArcsec: 20 / umPerArcsec(makeScene({ rig }).rig) } });
    // Diffraction at F/1 takes 1 - (4/pi) wavelength F f off the transfer: 0.2 % of width.
    expect(fwhmAt(scene, 600, 400) / 2.4549).toBeGreaterThan(1);
    expect(fwhmAt(scene, 600, 400) / 2.4549).toBeLessThan(1.004);
  });
});

describe('limits', () => {
  it('says so when a spot is larger than any picture that can be made', () => {
    const scene = vacuum({ rig: { focalRatio: 2 }, optics: { focusUm: 5000 } });
    expect(() => renderStar(scene, 600, 400, 31)).toThrow('too large to be drawn');
  });
});
