import { readdirSync, statSync } from 'node:fs';
import { basename, join } from 'node:path';
import { nodeSource } from '../bin/node-source.ts';
import { fieldPositions, racingOrder } from '../workers/fit/field-stars.ts';
import { MODEL_ERROR, misfitOf, opticsPriors } from '../workers/fit/fit-field.ts';
import type { FieldFit } from '../workers/fit/field-fit.ts';
import { junkStars } from '../workers/fit/junk.ts';
import { FieldFitter } from '../workers/fit/levenberg.ts';
import type { FitOptions } from '../workers/fit/levenberg.ts';
import { P } from '../workers/fit/parameters.ts';
import type { ModelShape } from '../workers/fit/parameters.ts';
import { startingPlaces, stampMoments } from '../workers/fit/stamp-moments.ts';
import { InlineStarPool } from '../workers/fit/star-pool.ts';
import { explainFrame } from '../workers/physics.ts';
import { FIT_STAMPS } from '../workers/protocol/api.ts';
import { UNKNOWN_RIG } from '../workers/protocol/rig.ts';
import type { StampSet } from '../workers/protocol/stamps.ts';
import { FrameSession } from '../workers/session.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';

const REAL = '../shared/frames/real';
const STARS = 60;
const ROUND: ModelShape = { groups: new Set(), path: 'none' };

/**
 * What stars of one region leave in common, over their model's own size, if they were all round and alike (one round
 * blur through perfect optics) and under the fitted model: a line a frame, with the verdict. Frames that the fit refuses
 * say why. `args`: frames or folders; the real frames beside the project where none is given. Never tuned on.
 */
export async function run(args: string[]): Promise<void> {
  const session = new FrameSession(await loadKernels());
  console.log('| frame | stars | round stars | fitted | chi²/dof | verdict |\n|---|---|---|---|---|---|');
  for (const path of (args.length > 0 ? args : [REAL]).flatMap(framesOf)) {
    const row = await rowOf(session, path).catch((error: unknown) => [`broke: ${String(error)}`]);
    console.log(`| ${[basename(path), ...row].join(' | ')} |`);
  }
}

const framesOf = (path: string): string[] =>
  statSync(path).isDirectory()
    ? readdirSync(path)
        .filter((name) => !name.endsWith('.md'))
        .sort()
        .map((name) => join(path, name))
    : [path];

async function rowOf(session: FrameSession, path: string): Promise<string[]> {
  const refused = (why: string) => ['', '', '', '', why];
  const source = await nodeSource(path);
  if (!source.ok) return refused(source.fault.message);
  const measured = await session.measure(source.value, { rig: UNKNOWN_RIG });
  if (!measured.ok) return refused(measured.fault.message);
  const { report, handle } = measured.value;
  if (report.fault) return refused(report.fault.message);
  const stamps = session.stamps(handle, FIT_STAMPS);
  if (!stamps.ok) return refused(stamps.fault.message);
  const physics = await explainFrame(stamps.value, report, UNKNOWN_RIG, (set, optics) =>
    InlineStarPool.create(set, optics),
  );
  if (!physics.ok) return refused(physics.fault.message);
  const { verdict } = physics.value;
  const fit = physics.value.field as unknown as FieldFit;
  const round = await roundCoherence(stamps.value, fit);
  return [
    `${fit.stars}`,
    percent(round),
    percent(fit.coherence),
    fit.chi2PerDof.toFixed(2),
    verdict ? `${verdict.headline} (${verdict.cause}, ${verdict.confidence.toFixed(2)})` : 'no verdict',
  ];
}

const percent = (share: number) => `${(100 * share).toFixed(1)} %`;

/** The same for the null model: perfect optics, no motion, one round blur, fitted to the stars of the fit. */
async function roundCoherence(stamps: StampSet, fit: FieldFit): Promise<number> {
  const pool = await InlineStarPool.create(stamps, fit.optics);
  const field = fieldPositions(stamps);
  const fitter = new FieldFitter(pool, field.xi, field.eta);
  const moments = stampMoments(stamps);
  const state = { theta: Float64Array.from(fit.theta), ...startingPlaces(moments) };
  const shape: ModelShape = { groups: new Set(fit.groups), path: fit.path };
  const order = racingOrder(moments, field);
  const options: FitOptions = {
    stars: order,
    fineness: 'final',
    iterations: 15,
    warmUp: 5,
    tolerance: 0.5,
    priors: opticsPriors(fit.optics),
  };
  const junk = junkStars(await fitter.judge(state, shape, options), fit.chi2PerDof < 1.5);
  const stars = order.filter((star) => !junk.has(star)).slice(0, STARS);
  const whole = { state, shape, free: [], cost: 0, answers: [], normal: null, gradients: [] };
  await fitter.freeze(whole, { ...options, stars }, MODEL_ERROR);
  const theta = new Float64Array(fit.theta.length);
  theta[P.lnBlur] = Math.log(Math.max(fit.cornerFwhmPx, 1));
  const round = await fitter.fit({ ...state, theta }, ROUND, { ...options, stars });
  const { uneven } = await misfitOf(stamps, fit.optics, field, round, { ...options, stars });
  pool.close();
  return uneven;
}
