import { beforeAll, describe, expect, test } from 'vitest';
import { fitField } from '../../workers/fit/fit-field.ts';
import type { FieldFit } from '../../workers/fit/field-fit.ts';
import { meanPictures } from '../../workers/fit/mean-picture.ts';
import { modelPlaces } from '../../workers/fit/model-places.ts';
import { modelShapes } from '../../workers/fit/model-shapes.ts';
import { P } from '../../workers/fit/parameters.ts';
import { fieldModel } from '../../workers/fit/model-report.ts';
import { remainingWidths } from '../../workers/fit/remaining-widths.ts';
import { leftovers, starUnderModel } from '../../workers/fit/stars-under-model.ts';
import { InlineStarPool } from '../../workers/fit/star-pool.ts';
import { bytesSource } from '../../workers/decode/sources.ts';
import type { Measured } from '../../workers/protocol/api.ts';
import type { RemovablePart } from '../../workers/protocol/model.ts';
import type { StampSet } from '../../workers/protocol/stamps.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import { FrameSession } from '../../workers/session.ts';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import { truthOf } from '../../workers/simulate/truth.ts';
import type { SceneChanges } from '../../workers/simulate/scene.ts';
import { loadKernels } from '../../workers/wasm/kernels.ts';
import { fieldScene } from './field.ts';

const kernels = await loadKernels();
const COMA: SceneChanges = { optics: { comaStrength: 3 } };

/** The simulator is the truth here: it shares no code with the fit, nor with what measures. */
describe('a simulated frame with coma, measured and fitted', () => {
  const scene = fieldScene({
    ...COMA,
    stars: { count: 160, faintestElectrons: 4000, brightestElectrons: 200_000, slope: 0.4 },
    seed: 5,
  });
  let measured: Measured;
  let fit: FieldFit;
  let session: FrameSession;
  let stamps: StampSet;
  beforeAll(async () => {
    const { rig } = scene;
    const { pixels } = simulateExposure(scene);
    session = new FrameSession(await loadKernels());
    const outcome = await session.measure(
      bytesSource(
        'field',
        writeFits16(pixels, rig.widthPx, rig.heightPx, [['EGAIN', rig.gainElectronsPerAdu]]),
      ),
      { rig: {} },
    );
    if (!outcome.ok) throw new Error(outcome.fault.message);
    measured = outcome.value;
    const cut = session.stamps(measured.handle, 90);
    if (!cut.ok) throw new Error(cut.fault.message);
    stamps = cut.value;
    const facts = {
      focalLengthMm: rig.focalLengthMm,
      apertureMm: rig.focalLengthMm / rig.focalRatio,
      pixelSizeUm: rig.pixelSizeUm,
      obstruction: rig.obstruction,
    };
    const fitted = await fitField(stamps, facts, UNKNOWN_RIG, (set, optics) =>
      InlineStarPool.create(set, optics),
    );
    if (!fitted.ok) throw new Error(fitted.fault.message);
    fit = fitted.value;
  }, 60_000);

  /** Largest difference between measured mean stars and the model's, in parts of the peak, for each cell. */
  const differences = (without: RemovablePart[]) => {
    const { meanStars } = measured;
    const places = meanStars.map(({ placesPx }) =>
      Array.from({ length: placesPx.length / 2 }, (_, i) => ({
        xPx: placesPx[2 * i],
        yPx: placesPx[2 * i + 1],
      })),
    );
    const pictures = meanPictures(kernels, fit, { places, without, side: meanStars[0].side });
    return meanStars.map(({ values }, cell) =>
      Math.max(...values.map((value, at) => Math.abs(value - pictures[cell].values[at]))),
    );
  };

  test('the model’s mean stars are the measured ones in each ninth of the sensor; without coma they are not', () => {
    // What remains is the noise of a dozen stars and how finely their places are known.
    expect(Math.max(...differences([]))).toBeLessThan(0.08);
    const corners = differences(['coma', 'collimation']).filter((_, cell) => cell % 2 === 0 && cell !== 4);
    expect(Math.min(...corners)).toBeGreaterThan(0.16);
  });

  test('shapes of the model’s stars are those of the measured regions', () => {
    const [{ cols, rows }] = measured.fineRegions;
    const shapes = modelShapes(kernels, fit, cols, rows);
    expect(shapes).toHaveLength(cols * rows);
    for (const { col, row, fwhmPx, e1, e2 } of shapes) {
      const region = measured.fineRegions.find((r) => r.col === col && r.row === row)!;
      if (!region.fwhmPx || !region.elongation || region.stars < 3) continue;
      // Few stars stand where the cell's centre is: a twelfth of the width is what coma changes across half a cell.
      expect(Math.abs(fwhmPx / region.fwhmPx.value - 1)).toBeLessThan(
        0.08 + (4 * region.fwhmPx.sigma) / fwhmPx,
      );
      const e = Math.hypot(e1, e2);
      const elongation = Math.sqrt((1 + e) / (1 - e));
      expect(Math.abs(elongation - region.elongation.value)).toBeLessThan(0.06 + 4 * region.elongation.sigma);
    }
  });

  test('with coma switched off the widths are those of the same scene drawn without coma', () => {
    const clean = truthOf(fieldScene({ optics: { comaStrength: 0 } })).fwhmPx;
    const asIs = truthOf(scene).fwhmPx;
    const cornersOf = (truth: typeof clean) => (truth.c0r0 + truth.c1r0 + truth.c0r1 + truth.c1r1) / 4;
    const left = remainingWidths(kernels, fit, ['coma', 'collimation']);
    const whole = remainingWidths(kernels, fit, []);
    for (const [estimate, truth] of [
      [left.centrePx, clean.centre],
      [left.cornersPx, cornersOf(clean)],
      [whole.centrePx, asIs.centre],
      [whole.cornersPx, cornersOf(asIs)],
    ] as const) {
      expect(Math.abs(estimate.value - truth)).toBeLessThan(3 * estimate.sigma);
      expect(estimate.sigma / truth).toBeLessThan(0.03);
    }
    expect(left.meanPx.value).toBeGreaterThan(left.centrePx.value * 0.99);
    expect(whole.meanPx.value).toBeLessThan(whole.cornersPx.value);
  });

  test('without air, pixel and diffraction remain, and the error says how little of the width that is', () => {
    const airless = truthOf(fieldScene({ optics: { comaStrength: 0 }, sky: { seeingArcsec: 0.02 } })).fwhmPx;
    const still = remainingWidths(kernels, fit, ['roundBlur', 'coma', 'collimation']);
    const whole = remainingWidths(kernels, fit, []);
    // 0.98 lambda F (obstruction 0.3, handbook section 5.1) is 0.72 px here; the pixel adds 5.545 / 12 in squares.
    expect(still.centrePx.value).toBeGreaterThan(0.9);
    expect(still.centrePx.value).toBeLessThan(1.3);
    // The simulator without air is the truth.
    expect(Math.abs(still.centrePx.value - airless.centre)).toBeLessThan(3 * still.centrePx.sigma);
    // Squares subtract: w dw = W dW.
    expect(still.centrePx.value * still.centrePx.sigma).toBeGreaterThan(
      0.999 * 0.01 * whole.centrePx.value ** 2,
    );
  });

  test('a model that fits leaves nothing in common to the stars; one without coma leaves much in the corners', async () => {
    const rest = await leftovers(fit, stamps);
    expect(rest).toHaveLength(9);
    for (const { coherence } of rest) expect(coherence ?? 0).toBeLessThan(0.03);
    const blind = { ...fit, theta: fit.theta.map((value, i) => (i === P.comaField ? 0 : value)) };
    const [corner] = await leftovers(blind, stamps);
    expect(corner.coherence).toBeGreaterThan(0.08);
  });

  test('one star under the field’s model: its light is what the simulator gave it', async () => {
    const { stars } = simulateExposure(scene);
    for (const index of [2, 10, 30]) {
      const stamp = session.stamp(measured.handle, index);
      if (!stamp.ok) throw new Error(stamp.fault.message);
      const star = await starUnderModel(fit, stamp.value);
      const drawn = stars.reduce((best, other) =>
        Math.hypot(other.xPx - star.xPx, other.yPx - star.yPx) <
        Math.hypot(best.xPx - star.xPx, best.yPx - star.yPx)
          ? other
          : best,
      );
      // The fit's position is the chief ray's, as the simulator's is: a comatic star's light lies off it.
      expect(Math.hypot(drawn.xPx - star.xPx, drawn.yPx - star.yPx)).toBeLessThan(0.2);
      expect(Math.abs(star.flux.value / drawn.fluxElectrons - 1)).toBeLessThan(0.02);
      expect(star.chi2PerDof).toBeLessThan(2);
      const pulls = star.pulls.filter((pull) => !Number.isNaN(pull));
      expect(pulls.length).toBe(star.pixels);
    }
  });

  test('focus at a place follows the report’s definition', () => {
    const theta = fit.theta.map(() => 0);
    Object.entries({ focus: 2, tiltX: -1.5, tiltY: 0.7, curvature: 1.2 }).forEach(
      ([name, value]) => (theta[P[name as keyof typeof P]] = value),
    );
    const bent = { ...fit, theta };
    const model = fieldModel(bent);
    const { widthPx, heightPx } = fit;
    for (const place of [
      { xPx: 0, yPx: 0 },
      { xPx: widthPx - 1, yPx: 200 },
    ]) {
      const x = ((place.xPx - (widthPx - 1) / 2) * fit.optics.pixelUm) / 1000;
      const y = ((place.yPx - (heightPx - 1) / 2) * fit.optics.pixelUm) / 1000;
      // z = focus + tilt . (x, y) - curvature r^2 / 2; with curvature in 1/m and r in mm that is in um.
      const z =
        model.focusUm!.value +
        model.tiltUmPerMm.x!.value * x +
        model.tiltUmPerMm.y!.value * y -
        (model.curvaturePerM!.value * (x * x + y * y)) / 2;
      const [{ defocusUm }] = modelPlaces(bent, [place]);
      expect(Math.abs(defocusUm!.value - z)).toBeLessThan(1e-6 * Math.abs(z));
    }
  });
});
