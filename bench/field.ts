import { existsSync, readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { bytesSource } from '../workers/decode/sources.ts';
import { InlineStarPool } from '../workers/fit/star-pool.ts';
import { FrameSession } from '../workers/session.ts';
import { simulateExposure } from '../workers/simulate/exposure.ts';
import { writeFits16 } from '../workers/simulate/fits.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { KINDS } from './field/faults.ts';
import type { Kind } from './field/faults.ts';
import { REPORTING_SEEDS } from './field/reporting-seeds.ts';
import { runFrame } from './field/run-frame.ts';
import { drawField } from './field/scenes.ts';
import type { DrawnField, FieldWish } from './field/scenes.ts';
import { score } from './field/score.ts';
import type { Scored } from './field/score.ts';
import { summary } from './field/tables.ts';
import { ownTruth, sharedTruth } from './field/truth.ts';
import type { FieldTruth } from './field/truth.ts';
import { TUNING_SEEDS } from './field/tuning-seeds.ts';

const SHARED = '../shared/frames';

interface BenchSet {
  title: string;
  frames: { truth: FieldTruth; bytes: () => Uint8Array }[];
}

/**
 * `npm run bench -- field [tuning|reporting|shared] [fields per kind]`: the whole way from frames to verdicts over
 * simulated fields of all kinds. Reporting fields and frames from the outside are never tuned on.
 */
export async function run(args: string[]): Promise<void> {
  const which = args[0] ?? 'reporting';
  const seeds = which === 'tuning' ? TUNING_SEEDS : REPORTING_SEEDS;
  const perKind = Number(args[1] ?? seeds.perKind);
  if (!['tuning', 'reporting', 'shared'].includes(which) || !(perKind > 0)) {
    process.stderr.write('usage: npm run bench -- field [tuning|reporting|shared] [fields per kind]\n');
    process.exitCode = 2;
    return;
  }
  const sets = which === 'shared' ? sharedSets() : ownSets(seeds.first, perKind);
  const session = new FrameSession(await loadKernels());
  for (const set of sets) {
    const scored: Scored[] = [];
    for (const { truth, bytes } of set.frames) {
      const outcome = await runFrame(session, bytesSource(truth.name, bytes()), truth, (stamps, optics) =>
        InlineStarPool.create(stamps, optics),
      );
      const one = score(outcome);
      scored.push(one);
      if (!one.right)
        process.stderr.write(
          `${truth.name}: ${one.truthCause} taken for ${one.cause} (${one.confidence.toFixed(2)})\n`,
        );
    }
    console.log(summary(set.title, scored).join('\n'));
  }
}

function ownSets(first: number, perKind: number): BenchSet[] {
  const kinds = Object.keys(KINDS) as Kind[];
  const draw = (list: (Kind | 'mixed')[], count: number, offset: number, wish: (i: number) => FieldWish) =>
    list.flatMap((kind, k) =>
      Array.from({ length: count }, (_, i) => {
        const field = drawField(kind, (first + offset + i) * 100 + k, wish(i));
        return { truth: ownTruth(field, `${kind}-${first + offset + i}`), bytes: () => rendered(field) };
      }),
    );
  const part = (share: number) => Math.max(1, Math.round(perKind * share));
  return [
    { title: 'own simulator, one fault', frames: draw(kinds, part(0.6), 0, () => ({})) },
    {
      title: 'own simulator, 14 to 60 stars',
      frames: draw(kinds, part(0.4), 1000, (i) => ({ stars: 14 + ((i * 17) % 47) })),
    },
    {
      title: 'own simulator, physics untold',
      frames: draw(kinds, part(0.4), 2000, () => ({ hard: true })),
    },
    { title: 'own simulator, three faults', frames: draw(['mixed'], 3 * perKind, 3000, () => ({})) },
  ];
}

function rendered({ scene }: DrawnField): Uint8Array {
  const { rig, exposureS } = scene;
  const { pixels, widthPx, heightPx } = simulateExposure(scene);
  return writeFits16(pixels, widthPx, heightPx, [
    ...(rig.mosaic ? ([['BAYERPAT', rig.mosaic]] as [string, string][]) : []),
    ['EXPTIME', exposureS],
    ['EGAIN', rig.gainElectronsPerAdu],
  ]);
}

function sharedSets(): BenchSet[] {
  if (!existsSync(SHARED)) {
    process.stderr.write(`${SHARED} is not there: nothing to run over.\n`);
    return [];
  }
  return ['simulated', 'simulated-few', 'simulated-hard'].map((folder) => ({
    title: `frames of another simulator: ${folder}`,
    frames: readdirSync(join(SHARED, folder))
      .filter((file) => file.endsWith('.truth.json'))
      .map((file) => {
        const name = file.replace('.truth.json', '');
        return {
          truth: sharedTruth(readFileSync(join(SHARED, folder, file), 'utf8'), `${folder}/${name}`),
          bytes: () => readFileSync(join(SHARED, folder, `${name}.fits.gz`)),
        };
      }),
  }));
}
