import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { expect, test } from 'vitest';
import { bytesSource } from '../../workers/decode/sources.ts';
import { InlineStarPool } from '../../workers/fit/star-pool.ts';
import { explainFrame } from '../../workers/physics.ts';
import { FIT_STAMPS } from '../../workers/protocol/api.ts';
import type { Cause } from '../../workers/protocol/report.ts';
import { UNKNOWN_RIG } from '../../workers/protocol/rig.ts';
import { testSession } from '../support/star-frames.ts';

/**
 * The shipped demo frames, from file to verdict. What was put into each is checked against the simulator's own moments
 * in test/simulate/evening.test.ts; here the pipeline, which shares no code with the simulator, must find it.
 */
const DRAWN: Record<string, Cause> = {
  'heron-first-light': 'coma',
  'finch-supper-break': 'clean',
  'finch-long-adapter': 'tilt',
  'heron-children-first': 'focus',
  'owl-wide-field': 'trailing',
  'heron-galaxy': 'trailing',
  'heron-cold-mirror': 'pinching',
  'heron-after-the-tour': 'collimation',
};

test.each(Object.entries(DRAWN))('%s: %s', async (name, cause) => {
  const file = readFileSync(fileURLToPath(new URL(`../../public/demo/${name}.fits.gz`, import.meta.url)));
  const session = await testSession();
  const measured = await session.measure(bytesSource(`${name}.fits.gz`, new Uint8Array(file)), {
    rig: UNKNOWN_RIG,
  });
  if (!measured.ok) throw new Error(measured.fault.message);
  const { report, handle } = measured.value;
  const stamps = session.stamps(handle, FIT_STAMPS);
  if (!stamps.ok) throw new Error(stamps.fault.message);
  const physics = await explainFrame(stamps.value, report, UNKNOWN_RIG, (set, optics) =>
    InlineStarPool.create(set, optics),
  );
  if (!physics.ok) throw new Error(physics.fault.message);
  const { verdict, causes } = physics.value;
  expect(verdict!.cause).toBe(cause);
  expect(verdict!.confidence).toBeGreaterThan(0.65);
  // What makes the corners wide is told first among the causes too.
  if (cause !== 'clean') expect(causes![0].cause).toBe(cause);
});
