// What must hold whatever a file holds; and, on a long run, what the worst case took.
import fc from 'fast-check';
import { mkdirSync, writeFileSync } from 'node:fs';
import { afterAll, expect } from 'vitest';
import { decodeFrame } from '../../../workers/decode/index.ts';
import { bytesSource } from '../../../workers/decode/sources.ts';
import { FAULT_CODES } from '../../../workers/protocol/faults.ts';
import type { PictureChoice } from '../../../workers/protocol/reading.ts';
import { loadKernels, type Kernels } from '../../../workers/wasm/kernels.ts';

/** Cases of each test; a long run asks for more (`npm run fuzz -- CASES`). */
const LONG = process.env.FUZZ_RUNS;
const RUNS = Number(LONG ?? 150);
/** A mutant that was answered badly is kept here, to become a fixture of `test/fixtures/decode/crashes`. */
const KEPT = new URL('../../../test-output/fuzz/', import.meta.url);
/** Kernel memory may grow by this for a file of some kB: that of a fault, with room for one step of growth. */
const MOST_GROWTH_BYTES = 64e6;

let kernels: Kernels | null = null;
const worst = {
  cases: 0,
  frames: 0,
  slowestMs: 0,
  slowest: '',
  growthBytes: 0,
  processGrowthMb: 0,
  most: '',
};
let usedAtStart = 0;

/** Decodes bytes; whatever they are, a frame or a fault with a sentence comes, and no memory is lost. */
export async function answers(bytes: Uint8Array, name: string, choice: PictureChoice = {}): Promise<void> {
  kernels ??= await loadKernels();
  usedAtStart ||= process.memoryUsage.rss();
  const mark = kernels.arena.mark();
  const before = kernels.run.memory.buffer.byteLength;
  const since = performance.now();
  try {
    const outcome = await decodeFrame(bytesSource(name, bytes), kernels, undefined, undefined, choice);
    if (outcome.ok) {
      const { widthPx, heightPx, planes, pixels } = outcome.value.frame;
      const last = pixels.address + widthPx * heightPx * planes * (pixels.kind === 'u16' ? 2 : 4);
      expect(last).toBeLessThanOrEqual(kernels.arena.mark());
      expect(pixels.address).toBeGreaterThanOrEqual(mark);
      worst.frames++;
    } else {
      expect(FAULT_CODES).toContain(outcome.fault.code);
      expect(outcome.fault.code).not.toBe('internal');
      expect(outcome.fault.message.length).toBeLessThan(500);
    }
    kernels.arena.reset(mark);
    const growth = kernels.run.memory.buffer.byteLength - before;
    expect(growth).toBeLessThan(MOST_GROWTH_BYTES);
    if (LONG) note(bytes, name, performance.now() - since, growth);
  } catch (error) {
    keep(bytes, `failed-${name}`);
    throw error;
  }
}

function note(bytes: Uint8Array, name: string, tookMs: number, growthBytes: number): void {
  worst.cases++;
  if (tookMs > worst.slowestMs)
    Object.assign(worst, { slowestMs: tookMs, slowest: keep(bytes, `slow-${name}`) });
  worst.growthBytes = Math.max(worst.growthBytes, growthBytes);
  if (worst.cases % 16) return;
  const grown = (process.memoryUsage.rss() - usedAtStart) / 1e6;
  if (grown > worst.processGrowthMb + 20) worst.most = keep(bytes, `large-${name}`);
  worst.processGrowthMb = Math.max(worst.processGrowthMb, grown);
}

function keep(bytes: Uint8Array, name: string): string {
  mkdirSync(KEPT, { recursive: true });
  writeFileSync(new URL(name, KEPT), bytes);
  return name;
}

/** Checks a property as often as asked, with the seed that was asked for. */
export const checked = (property: fc.IAsyncProperty<unknown>) =>
  fc.assert(property, {
    numRuns: RUNS,
    endOnFailure: true,
    ...(process.env.FUZZ_SEED ? { seed: Number(process.env.FUZZ_SEED) } : {}),
  });

afterAll(() => {
  if (!LONG) return;
  const peak = process.resourceUsage().maxRSS / 1e3 - usedAtStart / 1e6;
  process.stdout.write(
    `${worst.cases} cases, ${worst.frames} of them frames. Slowest ${worst.slowestMs.toFixed(0)} ms (${worst.slowest}). ` +
      `Kernel memory grew by ${(worst.growthBytes / 1e6).toFixed(0)} MB at most, the process by ${peak.toFixed(0)} MB over all cases (${worst.most}).\n`,
  );
});
