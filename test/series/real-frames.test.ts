// Runs of real frames, where they are at hand; what is expected of them stands in their PROVENANCE.md.
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { nodeSource } from '../../bin/node-source.ts';
import type { SeriesRecord } from '../../workers/protocol/series.ts';
import { recordOf } from '../../workers/series/record.ts';
import { trackRun } from '../../workers/series/track.ts';
import { testSession } from '../support/star-frames.ts';

const folder = fileURLToPath(new URL('../../../shared/frames/real/', import.meta.url));
const here = existsSync(folder);
if (!here) process.stderr.write(`${folder} is not here: the runs of real frames are not tested.\n`);

async function recordsOf(names: string[]): Promise<SeriesRecord[]> {
  const session = await testSession();
  const records: SeriesRecord[] = [];
  for (const name of names) {
    const source = await nodeSource(folder + name);
    const outcome = source.ok ? await session.measure(source.value, { rig: {} }) : source;
    if (!outcome.ok) throw new Error(outcome.fault.message);
    const { report, stars, meta } = outcome.value;
    records.push(recordOf({ ...report, file: name }, stars, meta));
  }
  return records;
}

describe.skipIf(!here)('small telescope, one field, one night', () => {
  const clock = ['013343', '025112', '025412', '025712', '030012', '050612', '080612'];

  test('registered: shifts of the four consecutive frames; trailed frames found, clean ones let be', async () => {
    const { report, frames, headline } = trackRun(
      await recordsOf(clock.map((time) => `microobs_hatp32_${time}.fits`)),
    );
    expect([report.frames, report.used]).toEqual([7, 7]);
    const step = (i: number) => [
      report.path[i].xPx - report.path[i - 1].xPx,
      report.path[i].yPx - report.path[i - 1].yPx,
    ];
    // PROVENANCE: -4.6, +3.7; +1.3, +2.1; -3.1, -4.9 px, scatter 0.1 to 0.2 px.
    for (const [i, want] of [
      [2, [-4.6, 3.7]],
      [3, [1.3, 2.1]],
      [4, [-3.1, -4.9]],
    ] as const) {
      expect(Math.abs(step(i)[0] - want[0])).toBeLessThan(0.3);
      expect(Math.abs(step(i)[1] - want[1])).toBeLessThan(0.3);
    }
    // Common elongation over 0.25 in 013343, 025412, 050612 and 080612; 0.012 and 0.022 in 025112 and 030012.
    const within = frames.flatMap(({ shape }, i) => (shape!.says === 'within' ? [clock[i]] : []));
    expect(within).toEqual(expect.arrayContaining(['013343', '025412', '050612', '080612']));
    expect(within).not.toContain('025112');
    expect(within).not.toContain('030012');
    expect(report.longestExposureS).toBeNull();
    expect(headline).toMatch(/of 7 frames trail by more than 2 px at 60 s/);
  }, 120_000);
});

describe.skipIf(!here)('wide field on an altazimuth mount', () => {
  test.each([
    { names: ['20150608_381', '20150608_389'], seconds: 480, smeared: [] },
    { names: ['20150701_279', '20150701_280'], seconds: 59, smeared: [0] },
  ])(
    '$names: registered, the field turns, the smeared frame found',
    async ({ names, seconds, smeared }) => {
      const { report, frames } = trackRun(await recordsOf(names.map((name) => `skycam_${name}.fits`)));
      expect(report.used).toBe(2);
      expect(report.path[1].timeS).toBeCloseTo(seconds, 0);
      // Rotating at the parallactic rate, at most 15"/s cos(lat) / cos(alt): some hundredths of a degree a minute.
      const turn = report.rotationDegPerMin!;
      expect(Math.abs(turn.value)).toBeGreaterThan(10 * turn.sigma);
      expect(Math.abs(turn.value)).toBeLessThan(0.3);
      expect(frames.flatMap(({ shape }, i) => (shape!.says === 'within' ? [i] : []))).toEqual(smeared);
    },
    120_000,
  );
});
