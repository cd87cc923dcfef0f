// Real files from telescopes and from other readers' test suites, where they are at hand: each is decoded or refused as
// test/decode/real.json says, which was written from what is known about the file, not from what the decoder did.
import { existsSync, readdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { nodeSource } from '../../bin/node-source.ts';
import { decodeFrame } from '../../workers/decode/index.ts';
import expectations from './real.json' with { type: 'json' };
import { testKernels } from './fits-file.ts';

const folder = fileURLToPath(new URL('../../../shared/frames/real/', import.meta.url));
const here = existsSync(folder);

/** Either the frame's size and kind, and if wanted some of its pixels as [x, y, physical value]; or a fault's code. */
interface Expectation {
  size?: [number, number];
  kind?: string;
  pixels?: [number, number, number | null][];
  exposureS?: number;
  /** Where readers may differ: rounding of a JPEG's transform, in steps. */
  tolerance?: number;
  fault?: string;
  says?: string;
}

describe.skipIf(!here)('real files', () => {
  test('every file has its expectation', () => {
    const files = readdirSync(folder).filter((name) => !name.endsWith('.md'));
    expect(Object.keys(expectations).sort()).toEqual(files.sort());
  });

  test.each(Object.entries(expectations as unknown as Record<string, Expectation>))(
    '%s',
    async (name, want) => {
      const source = await nodeSource(folder + name);
      if (!source.ok) throw new Error(source.fault.message);
      const kernels = await testKernels();
      const mark = kernels.arena.mark();
      const outcome = await decodeFrame(source.value, kernels);
      kernels.arena.reset(mark);
      if (want.fault) {
        expect(outcome).toMatchObject({ ok: false, fault: { code: want.fault } });
        if (!outcome.ok) expect(outcome.fault.message).toMatch(new RegExp(want.says!));
        return;
      }
      if (!outcome.ok) throw new Error(outcome.fault.message);
      const { widthPx, heightPx, pixels, scale, zero, meta } = outcome.value.frame;
      expect([widthPx, heightPx, pixels.kind]).toEqual([...want.size!, want.kind]);
      if (want.exposureS !== undefined) expect(meta.exposureS).toBe(want.exposureS);
      const stored = kernels.arena[pixels.kind](pixels.address, widthPx * heightPx);
      for (const [x, y, value] of want.pixels ?? []) {
        const got = Math.fround(zero + scale * stored[y * widthPx + x]);
        if (value === null) expect(got).toBe(NaN);
        else if (want.tolerance)
          expect(Math.abs(got - value), `at ${x}, ${y}`).toBeLessThanOrEqual(want.tolerance);
        else expect(Math.abs(got - value) / Math.max(1, Math.abs(value)), `at ${x}, ${y}`).toBeLessThan(1e-6);
      }
    },
  );
});

test.skipIf(here)('real files: skipped, the folder ../shared/frames/real is not here', () => {});
