import { expect, test } from 'vitest';
import { fitFrames } from '../../workers/fit/fit-frames.ts';
import { P, PARAMETER_COUNT } from '../../workers/fit/parameters.ts';
import { InlineStarPool } from '../../workers/fit/star-pool.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import { drawnStamps, fieldScene } from './field.ts';

/** Truth: scenes of the simulator, which shares no code with the fit. One telescope, three frames, few stars in each. */
test('frames of one telescope: optics shared, movement and air of each, better known together than alone', async () => {
  const trails = [
    { x: 0, y: 0 },
    { x: 11, y: -5 },
    { x: -3, y: 12 },
  ];
  const seeing = [2.4, 3.1, 2.7];
  const scenes = trails.map((vectorUm, i) =>
    fieldScene({
      optics: { tiltUmPerMm: { x: 40, y: -20 }, focusUm: 15, comaConstantUm: { x: 0.12, y: 0.05 } },
      motion: [{ kind: 'drift', vectorUm }],
      sky: { seeingArcsec: seeing[i] * 1.306 },
      seed: 31 + i,
    }),
  );
  const { rig } = scenes[0];
  const outcome = await fitFrames(
    [...scenes.map((scene) => drawnStamps(scene, 5, 4)), drawnStamps(scenes[0], 2, 2)].map((stamps) => ({
      stamps,
    })),
    {
      focalLengthMm: rig.focalLengthMm,
      apertureMm: rig.focalLengthMm / rig.focalRatio,
      pixelSizeUm: rig.pixelSizeUm,
      obstruction: rig.obstruction,
    },
    UNKNOWN_RIG,
    (set, optics) => InlineStarPool.create(set, optics),
  );
  expect(outcome.ok).toBe(true);
  if (!outcome.ok) return;
  const { frames, left } = outcome.value;
  // The frame of four stars is left out, with the reason.
  expect(left).toHaveLength(1);
  expect(left[0]).toMatchObject({ index: 3 });
  expect(frames.map(({ index }) => index)).toEqual([0, 1, 2]);
  // Pixels of edge radius per um of defocus: 1 / (2 F px); half-diagonal in mm; 2 F / px pixels per um of coma.
  const radiusMm = (Math.hypot(rig.widthPx - 1, rig.heightPx - 1) / 2) * (rig.pixelSizeUm / 1000);
  const perUm = 1 / (2 * rig.focalRatio * rig.pixelSizeUm);
  const comaPerUm = (2 * rig.focalRatio) / rig.pixelSizeUm;
  const truth: [number, number][] = [
    [P.focus, 15 * perUm],
    [P.tiltX, 40 * radiusMm * perUm],
    [P.tiltY, -20 * radiusMm * perUm],
    [P.comaX, 0.12 * comaPerUm],
    [P.comaY, 0.05 * comaPerUm],
  ];
  for (const { fit } of frames) {
    const sigma = (parameter: number) => Math.sqrt(fit.covariance[parameter * PARAMETER_COUNT + parameter]);
    for (const [parameter, value] of truth) {
      expect(fit.theta[parameter]).toBe(frames[0].fit.theta[parameter]);
      expect(Math.abs(fit.theta[parameter] - value)).toBeLessThan(4 * sigma(parameter) + 0.01);
      expect(sigma(parameter)).toBeLessThan(0.15);
    }
  }
  frames.forEach(({ fit }, i) => {
    expect(Math.abs(Math.exp(fit.theta[P.lnBlur]) / seeing[i] - 1)).toBeLessThan(0.05);
    const length = Math.hypot(fit.theta[P.motionX], fit.theta[P.motionY]);
    expect(Math.abs(length - Math.hypot(trails[i].x, trails[i].y) / rig.pixelSizeUm)).toBeLessThan(0.25);
  });
  expect(frames[0].fit.path).toBe('none');
}, 300_000);
