import { describe, expect, test } from 'vitest';
import { bytesSource } from '../../workers/decode/sources.ts';
import type { SeriesRecord } from '../../workers/protocol/series.ts';
import { focusRun } from '../../workers/series/focus-run.ts';
import { recordOf } from '../../workers/series/record.ts';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import { makeScene, type SceneChanges } from '../../workers/simulate/scene.ts';
import { testSession } from '../support/star-frames.ts';

// The whole way: frames drawn by the simulator, read and measured as files, then answered as a run. Truth is the scene.

interface Rendered {
  positions: number[];
  umPerStep: number;
  bestPosition: number;
  scene: SceneChanges;
}

async function recordsOf({ positions, umPerStep, bestPosition, scene }: Rendered): Promise<SeriesRecord[]> {
  const session = await testSession();
  const records: SeriesRecord[] = [];
  for (const [i, position] of positions.entries()) {
    const drawn = makeScene({ ...scene, seed: 7 });
    drawn.optics.focusUm = umPerStep * (position - bestPosition);
    const { rig } = drawn;
    const frame = simulateExposure(drawn);
    const facts = { pixelSizeUm: rig.pixelSizeUm, focalLengthMm: rig.focalLengthMm };
    const bytes = writeFits16(frame.pixels, frame.widthPx, frame.heightPx, [
      ['XPIXSZ', rig.pixelSizeUm],
      ['FOCALLEN', rig.focalLengthMm],
      ['APTDIA', rig.focalLengthMm / rig.focalRatio],
      ['FOCUSPOS', position],
      ['EXPTIME', 10],
      ['EGAIN', rig.gainElectronsPerAdu],
    ]);
    const measured = await session.measure(bytesSource(`focus-${i}.fits`, bytes), { rig: {} });
    if (!measured.ok) throw new Error(measured.fault.message);
    const { report, stars } = measured.value;
    records.push(
      recordOf(report, stars, {
        format: 'FITS',
        ...facts,
        apertureMm: rig.focalLengthMm / rig.focalRatio,
        obstruction: rig.obstruction,
        exposureS: 10,
        startTime: null,
        gainElectronsPerAdu: rig.gainElectronsPerAdu,
        focusPosition: position,
        temperatureC: null,
        imageType: null,
        pointing: null,
      }),
    );
  }
  return records;
}

describe('rendered focus runs', () => {
  const steps = [-3, -2, -1, 0, 1, 2, 3];
  test.each<[string, Rendered]>([
    [
      'corrected reflector, focuser that counts inwards',
      {
        positions: steps.map((k) => 5000 + 25 * k),
        umPerStep: -1.6,
        bestPosition: 5012,
        scene: {
          rig: {
            focalLengthMm: 500,
            focalRatio: 4,
            obstruction: 0.35,
            pixelSizeUm: 3.8,
            widthPx: 1000,
            heightPx: 720,
          },
          optics: { comaStrength: 0.05, astigmatismStrength: 0.1, tiltUmPerMm: { x: 18, y: 12 } },
          sky: { seeingArcsec: 2.5 },
          stars: { count: 60, faintestElectrons: 9000, brightestElectrons: 400_000, slope: 0.4 },
        },
      },
    ],
    [
      'bare paraboloid with its coma and astigmatism',
      {
        positions: steps.map((k) => 13 * k),
        umPerStep: 4,
        bestPosition: 0.7,
        scene: {
          rig: {
            focalLengthMm: 400,
            focalRatio: 4,
            obstruction: 0.35,
            pixelSizeUm: 2.9,
            widthPx: 1400,
            heightPx: 1000,
          },
          optics: {
            comaStrength: 1,
            astigmatismStrength: 1,
            curvatureRadiusMm: 400,
            tiltUmPerMm: { x: 9, y: -5 },
          },
          sky: { seeingArcsec: 2.5 },
          stars: { count: 160, faintestElectrons: 8000, brightestElectrons: 400_000, slope: 0.4 },
        },
      },
    ],
  ])(
    '%s',
    async (_, run) => {
      const answer = focusRun(await recordsOf(run), { focusUmPerStep: run.umPerStep });
      if (!answer.ok) throw new Error(answer.sentence);
      const { report } = answer.value;
      const [x, y] = [report.tiltUmPerMm.x!.value, report.tiltUmPerMm.y!.value];
      const { x: tx, y: ty } = run.scene.optics!.tiltUmPerMm!;
      expect(Math.abs(Math.hypot(x, y) / Math.hypot(tx, ty) - 1)).toBeLessThan(0.03);
      const turn = Math.atan2(y * tx - x * ty, x * tx + y * ty);
      expect(Math.abs((turn * 180) / Math.PI)).toBeLessThan(2);
      const focusUm = (report.bestPosition!.value - run.bestPosition) * run.umPerStep;
      expect(Math.abs(focusUm)).toBeLessThan(0.1 * 4.88 * 0.55 * run.scene.rig!.focalRatio! ** 2);
      const curvature = run.scene.optics!.curvatureRadiusMm ? 1000 / run.scene.optics!.curvatureRadiusMm : 0;
      const { value, sigma } = report.curvaturePerM!;
      expect(Math.abs(value - curvature)).toBeLessThan(3 * sigma);
      // Half a depth of 4.88 λF² over the corner's sag at most.
      expect(sigma).toBeLessThan(1);
      // Third order: tangential before sagittal focus by h² / f of a bare paraboloid, times its part that is left.
      const { rig, optics } = run.scene;
      const corner = (Math.hypot(rig!.widthPx!, rig!.heightPx!) * rig!.pixelSizeUm!) / 2000;
      const between = (-1000 * optics!.astigmatismStrength! * corner ** 2) / rig!.focalLengthMm!;
      const { cornerTangentialMinusSagittalUm: foci } = answer.value.astigmatism!;
      expect(Math.abs(foci.value - between)).toBeLessThan(0.1 * Math.abs(between) + 3 * foci.sigma);
    },
    600_000,
  );
});
