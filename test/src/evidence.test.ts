import { expect, test } from 'vitest';
import type { CauseEntry } from '../../workers/protocol/report.ts';
import { evidenceOf } from '../../src/story/causes.ts';

const entry = (significance: number): CauseEntry => ({
  cause: 'coma',
  family: 'optics',
  cornerShare: { value: 0.8, sigma: 0.01 },
  significance,
  cornerFwhmWithoutPx: 2,
});
const trail = (gap: number) => ({ cause: 'trailing' as const, gap, atLeast: false });

test('what chance can make is said to be so, and no rival is held against it', () => {
  const words = evidenceOf(entry(2.1), 50, trail(0));
  expect(words).toContain('chance alone');
  expect(words).not.toContain('moving mount');
});

test('a rival is named, and how it compares', () => {
  expect(evidenceOf(entry(40), 50, null)).toMatch(/50 stars, 40 times.*not by chance/);
  expect(evidenceOf(entry(40), 50, trail(0.5))).toContain('a moving mount would explain the stars as well');
  expect(evidenceOf(entry(40), 50, trail(5))).toContain('cannot be ruled out');
  expect(evidenceOf(entry(40), 50, trail(15))).toContain('clearly worse');
  expect(evidenceOf(entry(40), 50, trail(1000))).toContain('far worse');
});

test('no jargon of statistics', () => {
  for (const gap of [0, 5, 15, 500])
    for (const significance of [1, 4, 50, 999])
      expect(evidenceOf(entry(significance), 50, trail(gap))).not.toMatch(/chi|sigma|likelihood|variance/i);
});
