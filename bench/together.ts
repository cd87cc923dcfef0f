import { appendFileSync, readFileSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { bytesSource } from '../workers/decode/sources.ts';
import type { FieldFit } from '../workers/fit/field-fit.ts';
import { fitFrames } from '../workers/fit/fit-frames.ts';
import { stampMoments } from '../workers/fit/stamp-moments.ts';
import { InlineStarPool } from '../workers/fit/star-pool.ts';
import { FIT_STAMPS } from '../workers/protocol/api.ts';
import type { FrameReport } from '../workers/protocol/report.ts';
import { UNKNOWN_RIG } from '../workers/protocol/rig.ts';
import type { StampSet } from '../workers/protocol/stamps.ts';
import { FrameSession } from '../workers/session.ts';
import { simulateExposure } from '../workers/simulate/exposure.ts';
import { writeFits16 } from '../workers/simulate/fits.ts';
import { plainLook } from '../workers/verdict/plain/plain-look.ts';
import { verdictOf } from '../workers/verdict/verdict.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { KINDS } from './field/faults.ts';
import type { Kind } from './field/faults.ts';
import { REPORTING_SEEDS } from './field/reporting-seeds.ts';
import type { DrawnField } from './field/scenes.ts';
import { score } from './field/score.ts';
import type { Scored } from './field/score.ts';
import { ownTruth } from './field/truth.ts';
import { TUNING_SEEDS } from './field/tuning-seeds.ts';
import { drawFrames } from './together/fields.ts';
import { togetherTables } from './together/tables.ts';

const FRAMES = 5;
const USAGE = `usage: npm run bench -- together [tuning|reporting] [fields per kind] [--frames N] [--faint] [--only TEXT] [--part I/N] [--save FILE]
       npm run bench -- together tables FILE...
`;

/** One frame of a poor field, alone and with its neighbours. */
export interface Compared {
  field: string;
  kind: Kind;
  /** Place in the run; 0 is the one that is asked about. */
  frame: number;
  alone: Scored;
  together: Scored;
  jointMs: number;
}

/**
 * What four more frames of a poor field bring: fields of 14 to 40 stars (`--faint`: all of them faint), every frame judged alone and with the others
 * against the truth. Constants are chosen on tuning fields only.
 */
export async function run(args: string[]): Promise<void> {
  const { positionals, values } = parseArgs({
    args,
    allowPositionals: true,
    options: {
      frames: { type: 'string', default: String(FRAMES) },
      only: { type: 'string', default: '' },
      faint: { type: 'boolean', default: false },
      part: { type: 'string', default: '1/1' },
      save: { type: 'string' },
    },
  });
  const [which = 'reporting', ...rest] = positionals;
  if (which === 'tables') {
    const lines = rest.flatMap((file) => readFileSync(file, 'utf8').trim().split('\n'));
    return console.log(togetherTables(lines.map((line) => JSON.parse(line) as Compared)).join('\n'));
  }
  const perKind = Number(rest[0] ?? 4);
  const [part, parts] = values.part.split('/').map(Number);
  const frames = Number(values.frames);
  if (
    !['tuning', 'reporting'].includes(which) ||
    !(perKind > 0) ||
    !(part >= 1 && part <= parts) ||
    !(frames > 1)
  ) {
    process.stderr.write(USAGE);
    process.exitCode = 2;
    return;
  }
  const { first } = which === 'tuning' ? TUNING_SEEDS : REPORTING_SEEDS;
  const session = new FrameSession(await loadKernels());
  const compared: Compared[] = [];
  const wanted = (Object.keys(KINDS) as Kind[])
    .flatMap((kind, k) => Array.from({ length: perKind }, (_, i) => ({ kind, k, i })))
    .filter(({ kind }) => kind.includes(values.only));
  for (const { kind, k, i } of wanted.filter((_, at) => at % parts === part - 1)) {
    const stars = 14 + ((i * 17 + k * 5) % 27);
    const name = `${kind}-${first + i} of ${stars}`;
    const own = await compareField(
      session,
      name,
      kind,
      drawFrames(kind, (first + 5000 + i) * 100 + k, frames, { stars, faint: values.faint }),
    );
    compared.push(...own);
    for (const one of own) {
      if (values.save) appendFileSync(values.save, `${JSON.stringify(one)}\n`);
      if (one.frame === 0)
        process.stderr.write(
          `${name}: ${one.alone.truthCause}; alone ${told(one.alone)}, together ${told(one.together)}, ${(one.jointMs / 1000).toFixed(1)} s\n`,
        );
    }
  }
  console.log(togetherTables(compared).join('\n'));
}

const told = ({ cause, confidence, right }: Scored) =>
  `${right ? '' : 'WRONG '}${cause} ${confidence.toFixed(2)}`;

async function compareField(
  session: FrameSession,
  name: string,
  kind: Kind,
  fields: DrawnField[],
): Promise<Compared[]> {
  const truths = fields.map((field, i) => ownTruth(field, `${name}, frame ${i}`));
  const rig = {
    ...UNKNOWN_RIG,
    focalLengthMm: truths[0].focalLengthMm,
    apertureMm: truths[0].focalLengthMm / truths[0].focalRatio,
    obstruction: truths[0].obstruction,
    usualSeeingArcsec: truths[0].usualSeeingArcsec,
    pixelSizeUm: truths[0].pixelUm,
  };
  const measured: { at: number; stamps: StampSet; report: FrameReport }[] = [];
  for (const [at, { scene }] of fields.entries()) {
    const { pixels, widthPx, heightPx } = simulateExposure(scene);
    const bytes = writeFits16(pixels, widthPx, heightPx, [
      ...(scene.rig.mosaic ? ([['BAYERPAT', scene.rig.mosaic]] as [string, string][]) : []),
      ['EXPTIME', scene.exposureS],
      ['EGAIN', scene.rig.gainElectronsPerAdu],
    ]);
    const outcome = await session.measure(bytesSource(name, bytes), { rig });
    if (!outcome.ok || outcome.value.report.fault) continue;
    const stamps = session.stamps(outcome.value.handle, FIT_STAMPS);
    if (stamps.ok) measured.push({ at, stamps: stamps.value, report: outcome.value.report });
  }
  if (measured.length < 2) return [];
  let began = 0;
  const outcome = await fitFrames(
    measured,
    measured[0].report.frame!,
    rig,
    (set, optics) => InlineStarPool.create(set, optics),
    (done) => {
      // Up to here the frames were fitted alone.
      if (done <= 0.6) began = performance.now();
    },
  );
  const jointMs = performance.now() - began;
  if (!outcome.ok) return [];
  return outcome.value.frames.map(({ index, alone, fit }) => {
    const { at, stamps, report } = measured[index];
    const look = plainLook(stamps, stampMoments(stamps));
    const scored = (one: FieldFit) =>
      score({
        truth: truths[at],
        fault: null,
        report,
        rig,
        look,
        fit: one,
        judgement: verdictOf(one, report, rig, look),
        stamps: stamps.count,
        sidePx: stamps.sidePx,
        measureMs: 0,
        fitMs: 0,
      });
    return { field: name, kind, frame: at, alone: scored(alone), together: scored(fit), jointMs };
  });
}
