// Frames of an independent simulator with their truth, and real files from public repositories, where they are at hand.
import { existsSync, readdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { beforeAll, describe, expect, test } from 'vitest';
import { judgeFrame, namesIn, type Verdict } from '../bench/shared-frames.ts';
import { nodeSource } from '../bin/node-source.ts';
import { median, testSession } from './support/star-frames.ts';

const folder = fileURLToPath(new URL('../../shared/frames/', import.meta.url));
const here = existsSync(folder);
const sum = (values: Verdict[], pick: (verdict: Verdict) => number) =>
  values.reduce((total, verdict) => total + pick(verdict), 0);

describe.skipIf(!here).each(['simulated', 'simulated-few', 'simulated-hard'])('%s', (set) => {
  const names = namesIn(folder + set);
  const verdicts: Verdict[] = [];
  beforeAll(async () => {
    for (const name of names) verdicts.push(await judgeFrame(await testSession(), folder + set, name));
  }, 120_000);

  test('every frame is analysed', () => {
    expect(names.length).toBeGreaterThan(10);
    for (const { name, report } of verdicts) expect(report.fault, name).toBeNull();
  });

  test('at least 90 % of the lone stars with a signal to noise over 20 are found, under 3 % are false', () => {
    const share = sum(verdicts, (v) => v.found20) / sum(verdicts, (v) => v.alone20);
    expect(share).toBeGreaterThanOrEqual(0.9);
    const falseShare = sum(verdicts, (v) => v.falseOnes.length) / sum(verdicts, (v) => v.listed);
    expect(falseShare).toBeLessThan(0.03);
  });

  test('bright stars of clean frames lie within 0.05 px of the truth (median)', () => {
    const errors = verdicts.filter(({ kind }) => kind === 'clean').flatMap((v) => v.positionErrorsPx);
    expect(errors.length).toBeGreaterThan(4);
    expect(median(errors)).toBeLessThan(0.05);
  });
});

describe.skipIf(!here)('real files', () => {
  const real = `${folder}real/`;
  const names = here ? readdirSync(real).filter((name) => !name.endsWith('.md')) : [];

  test('each is analysed or refused with a sentence; none throws', async () => {
    expect(names.length).toBeGreaterThan(70);
    const session = await testSession();
    for (const name of names) {
      const source = await nodeSource(real + name);
      if (!source.ok) throw new Error(source.fault.message);
      const outcome = await session.measure(source.value, { rig: {} });
      const fault = outcome.ok ? outcome.value.report.fault : outcome.fault;
      if (fault) {
        expect(fault.code, `${name}: ${fault.message}`).not.toBe('internal');
        expect(fault.message, name).toMatch(/^\S.{20,}[.!]$/s);
      } else if (outcome.ok) {
        const { report, stars } = outcome.value;
        expect(report.sensor.hfdPx?.value, name).toBeGreaterThan(0);
        expect(stars.count, name).toBeGreaterThan(4);
      }
    }
  }, 120_000);
});

test.skipIf(here)('frames with known truth: skipped, the folder ../shared/frames is not here', () => {});
