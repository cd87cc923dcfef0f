import { describe, expect, test } from 'vitest';
import { bytesSource } from '../../workers/decode/sources.ts';
import { measureForRun } from '../../workers/run-frame.ts';
import { simulated } from '../browser/simulated.ts';
import { testSession } from '../support/star-frames.ts';

// Truth is the scene that the project's simulator draws.

const DRIFT_UM = { x: 11, y: 0 };
const PIXEL_UM = 3.8;
const record = async (bytes: Uint8Array<ArrayBuffer>, fit: boolean) => {
  const outcome = await measureForRun(await testSession(), bytesSource('frame.fits', bytes), 0, {
    rig: {},
    fit,
  });
  if (!outcome.ok) throw new Error(outcome.fault.message);
  return outcome.value.record!;
};

describe("a run's frames may be explained one by one", () => {
  const trailed = simulated({ motion: [{ kind: 'drift', vectorUm: DRIFT_UM }], exposureS: 20, seed: 3 }, [
    ['EGAIN', 1, 'electrons per ADU'],
  ]);

  test('a drifting frame is owed to its drift, of the length that was drawn', async () => {
    const { report } = await record(trailed, true);
    expect(report.verdict!.cause).toBe('trailing');
    const { lengthPx, angleDeg } = report.model!.motion;
    expect(Math.abs(lengthPx!.value - DRIFT_UM.x / PIXEL_UM)).toBeLessThan(4 * lengthPx!.sigma + 0.02);
    expect(lengthPx!.sigma).toBeLessThan(0.2);
    expect(Math.abs(angleDeg!.value)).toBeLessThan(4 * angleDeg!.sigma + 0.5);
  }, 120_000);

  test('without it the same frame is measured alike, and nothing is explained', async () => {
    const [plain, explained] = [await record(trailed, false), await record(trailed, true)];
    expect(plain.report.model ?? null).toBeNull();
    expect(plain.report.verdict ?? null).toBeNull();
    expect(plain.report.sensor).toEqual(explained.report.sensor);
    expect(plain.stars.count).toBe(explained.stars.count);
  }, 120_000);

  test('a frame that cannot be measured is not explained either', async () => {
    const few = simulated({ stars: { count: 2 }, seed: 5 });
    const { report } = await record(few, true);
    expect(report.fault).not.toBeNull();
    expect(report.model ?? null).toBeNull();
  });
});
