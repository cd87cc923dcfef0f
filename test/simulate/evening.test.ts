import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { gunzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import type { DemoFrame } from '../../workers/protocol/demo.ts';
import { EVENING, headerCards } from '../../workers/simulate/evening.ts';
import { simulateExposure } from '../../workers/simulate/exposure.ts';
import { writeFits16 } from '../../workers/simulate/fits.ts';
import { VISIBLE_LIGHT } from '../../workers/simulate/scene.ts';
import { causeMoments, truthOf, type CauseMoments } from '../../workers/simulate/truth.ts';

const shipped = (file: string) =>
  readFileSync(fileURLToPath(new URL(`../../public/demo/${file}`, import.meta.url)));
const index = JSON.parse(shipped('index.json').toString()) as DemoFrame[];

describe('the open evening', () => {
  /** What was put into each frame; none for the one where all is well. */
  const troubles: Record<string, keyof CauseMoments | null> = {
    'heron-first-light': 'fieldComa',
    'finch-supper-break': null,
    'finch-long-adapter': 'tilt',
    'heron-children-first': 'focus',
    'owl-wide-field': 'motion',
    'heron-galaxy': 'motion',
    'heron-cold-mirror': 'trefoil',
    'heron-after-the-tour': 'fieldComa',
  };

  it.each(EVENING.map((frame) => [frame.name, frame] as const))(
    '%s has its own trouble and no other',
    (name, frame) => {
      const trouble = troubles[name];
      const { rig } = frame.scene;
      const corner = {
        x: (rig.widthPx * rig.pixelSizeUm) / 2000,
        y: (rig.heightPx * rig.pixelSizeUm) / 2000,
      };
      // Mean over the corners of the variance per axis, in pixels squared.
      const variance = (cause: keyof CauseMoments) =>
        [-1, 1]
          .flatMap((sx) =>
            [-1, 1].map((sy) => causeMoments(frame.scene, { x: sx * corner.x, y: sy * corner.y })[cause]),
          )
          .reduce((sum, m) => sum + (m.xx + m.yy) / 8, 0) /
        rig.pixelSizeUm ** 2;
      const singles = [
        'focus',
        'tilt',
        'curvature',
        'fieldComa',
        'constantComa',
        'astigmatism',
        'trefoil',
        'spherical',
        'motion',
        'rotation',
        'dispersion',
      ] as const;
      for (const cause of singles) {
        if (cause === trouble) expect(variance(cause)).toBeGreaterThan(0.4);
        else expect(variance(cause)).toBeLessThan(trouble ? 0.35 * variance(trouble) : 0.02);
      }
    },
  );

  it('is as round to the corners as in the middle where all is well', () => {
    const { fwhmPx } = truthOf(EVENING.find((frame) => frame.name === 'finch-supper-break')!.scene);
    expect(fwhmPx.c1r1 / fwhmPx.centre).toBeCloseTo(1, 2);
  });

  it('shares out the light of the sky: all of it to a sensor without filters', () => {
    expect(VISIBLE_LIGHT.reduce((sum, { mono }) => sum + mono, 0)).toBeCloseTo(1, 12);
    for (const channel of ['R', 'G', 'B'] as const)
      expect(VISIBLE_LIGHT.filter((sample) => sample[channel] > 0).length).toBeGreaterThanOrEqual(3);
  });
});

describe('the frames that ship with the page', () => {
  it('are those of the evening, in its order, in three megabytes', () => {
    expect(index.map(({ file }) => file)).toEqual(EVENING.map(({ name }) => `${name}.fits.gz`));
    expect(index.map(({ story }) => story)).toEqual(EVENING.map(({ story }) => story));
    for (const { file, bytes } of index) expect(shipped(file).length).toBe(bytes);
    expect(index.reduce((sum, { bytes }) => sum + bytes, 0)).toBeLessThan(3e6);
  });

  it.each(EVENING.map((frame) => [frame.name, frame] as const))(
    '%s is what a camera writes',
    (name, frame) => {
      const bytes = gunzipSync(shipped(`${name}.fits.gz`));
      const header = bytes.toString('latin1', 0, 2880);
      const expected = new TextDecoder('latin1').decode(
        writeFits16(new Uint16Array(1), 1, 1, headerCards(frame)).subarray(0, 2880),
      );
      const withoutSize = (text: string) => text.replace(/NAXIS[12] .{71}/g, '');
      expect(withoutSize(header)).toBe(withoutSize(expected));
      expect(header).not.toMatch(/OBSTR/);
      expect(header.includes('BAYERPAT')).toBe(frame.scene.rig.mosaic !== null);
      const { widthPx, heightPx } = frame.scene.rig;
      expect(bytes.length).toBe(2880 * (1 + Math.ceil((2 * widthPx * heightPx) / 2880)));
    },
  );

  it('are drawn by this code: a new one of the same seed has the same pixels', () => {
    const frame = EVENING.find(({ name }) => name === 'finch-supper-break')!;
    const { pixels, widthPx, heightPx } = simulateExposure(frame.scene);
    const drawn = writeFits16(pixels, widthPx, heightPx, headerCards(frame));
    const stored = gunzipSync(shipped(`${frame.name}.fits.gz`));
    expect(stored.length).toBe(drawn.length);
    // Not to the last bit: another machine's sine may tip a photon.
    let different = 0;
    for (let i = 0; i < drawn.length; i++) if (drawn[i] !== stored[i]) different++;
    expect(different / drawn.length).toBeLessThan(1e-3);
  });
});
