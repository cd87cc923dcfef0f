import { appendFileSync, existsSync, readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { bytesSource } from '../workers/decode/sources.ts';
import { InlineStarPool } from '../workers/fit/star-pool.ts';
import { FrameSession } from '../workers/session.ts';
import { simulateExposure } from '../workers/simulate/exposure.ts';
import { writeFits16 } from '../workers/simulate/fits.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { calibration } from './field/calibrate.ts';
import { KINDS } from './field/faults.ts';
import type { Kind } from './field/faults.ts';
import { REPORTING_SEEDS } from './field/reporting-seeds.ts';
import { runFrame } from './field/run-frame.ts';
import { UNTOLD, drawField } from './field/scenes.ts';
import type { DrawnField, FieldWish, Untold } from './field/scenes.ts';
import { judgedAgain, savedFields, savedLine } from './field/saved.ts';
import type { SavedField } from './field/saved.ts';
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

const USAGE = `usage: npm run bench -- field [tuning|calibration|reporting|shared] [fields per kind] [--only TEXT] [--part I/N] [--untold PHYSICS,...] [--save FILE]
       npm run bench -- field tables|again|calibrate FILE...
`;

/**
 * The whole way from frames to verdicts over simulated fields of all kinds. Reporting fields and frames from the
 * outside are never tuned on. `calibration`: few and faint stars, where verdicts go wrong often enough to
 * learn how sure they may be. `--only` takes fields whose set or name contains a text, `--part 1/2` every second field, for two processes on two cores,
 * `--untold` names the physics that the third set is not told (all of it where not given); what `--save`
 * wrote (a line a field) is put together by `tables`, and judged by today's verdict rules by
 * `again`; `calibrate` derives from it how sure the distance of the nearest rival makes a verdict.
 */
export async function run(args: string[]): Promise<void> {
  const { positionals, values } = parseArgs({
    args,
    allowPositionals: true,
    options: {
      only: { type: 'string', default: '' },
      part: { type: 'string', default: '1/1' },
      untold: { type: 'string', default: UNTOLD.join() },
      save: { type: 'string' },
    },
  });
  const [which = 'reporting', ...rest] = positionals;
  if (which === 'tables') return printTables(savedFields(rest));
  if (which === 'calibrate') return console.log(calibration(savedFields(rest).map(judgedAgain)).join('\n'));
  if (which === 'again') return printTables(savedFields(rest).map(judgedAgain));
  const seeds = which === 'reporting' ? REPORTING_SEEDS : TUNING_SEEDS;
  const perKind = Number(rest[0] ?? seeds.perKind);
  const [part, parts] = values.part.split('/').map(Number);
  const untold = values.untold.split(',').filter((one): one is Untold => UNTOLD.includes(one as Untold));
  if (
    !['tuning', 'calibration', 'reporting', 'shared'].includes(which) ||
    !(perKind > 0) ||
    !(part >= 1 && part <= parts)
  ) {
    process.stderr.write(USAGE);
    process.exitCode = 2;
    return;
  }
  const sets =
    which === 'shared' ? sharedSets() : ownSets(seeds.first, perKind, untold, which === 'calibration');
  const session = new FrameSession(await loadKernels());
  for (const { title, frames } of sets) {
    const scored: Scored[] = [];
    const wanted = frames.filter(({ truth }) => `${title} ${truth.name}`.includes(values.only));
    for (const { truth, bytes } of wanted.filter((_, i) => i % parts === part - 1)) {
      const outcome = await runFrame(session, bytesSource(truth.name, bytes()), truth, (stamps, optics) =>
        InlineStarPool.create(stamps, optics),
      );
      const one = score(outcome);
      scored.push(one);
      if (values.save) appendFileSync(values.save, `${savedLine(title, one, outcome)}\n`);
      if (!one.right)
        process.stderr.write(
          `${truth.name}: ${one.truthCause} taken for ${one.cause} (${one.confidence.toFixed(2)})\n`,
        );
    }
    console.log(summary(title, scored).join('\n'));
  }
}

function printTables(fields: SavedField[]): void {
  const sets = new Map<string, Scored[]>();
  for (const { title, ...one } of fields) sets.set(title, [...(sets.get(title) ?? []), one]);
  for (const [title, scored] of sets) console.log(summary(title, scored).join('\n'));
  if (sets.size > 1) console.log(summary('all of these', [...sets.values()].flat()).join('\n'));
}

function ownSets(first: number, perKind: number, untold: readonly Untold[], hardToTell: boolean): BenchSet[] {
  const kinds = Object.keys(KINDS) as Kind[];
  const draw = (list: (Kind | 'mixed')[], count: number, offset: number, wish: (i: number) => FieldWish) =>
    list.flatMap((kind, k) =>
      Array.from({ length: count }, (_, i) => {
        const field = drawField(kind, (first + offset + i) * 100 + k, wish(i));
        return { truth: ownTruth(field, `${kind}-${first + offset + i}`), bytes: () => rendered(field) };
      }),
    );
  if (hardToTell)
    return [
      {
        title: 'own simulator, few and faint',
        frames: draw([...kinds, 'mixed'], perKind, 4000, (i) => ({
          stars: 10 + ((i * 7) % 23),
          faint: true,
        })),
      },
    ];
  const part = (share: number) => Math.max(1, Math.round(perKind * share));
  return [
    { title: 'own simulator, one fault', frames: draw(kinds, part(0.6), 0, () => ({})) },
    {
      title: 'own simulator, 14 to 60 stars',
      frames: draw(kinds, part(0.4), 1000, (i) => ({ stars: 14 + ((i * 17) % 47) })),
    },
    {
      title: 'own simulator, physics untold',
      frames: draw(kinds, part(0.4), 2000, () => ({ untold })),
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
