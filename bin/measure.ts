import { isAbsolute, resolve } from 'node:path';
import { FrameSession } from '../workers/session.ts';
import type { StarPoolMaker } from '../workers/fit/fit-field.ts';
import { explainFrame, withPhysics } from '../workers/physics.ts';
import { FIT_STAMPS } from '../workers/protocol/api.ts';
import type { FittedField } from '../workers/protocol/model.ts';
import { ANY_KIND } from '../workers/protocol/reading.ts';
import type { FrameReport } from '../workers/protocol/report.ts';
import { UNKNOWN_RIG } from '../workers/protocol/rig.ts';
import type { StampSet } from '../workers/protocol/stamps.ts';
import { listStars } from '../workers/regions/report.ts';
import { recordOf, recordOfFault } from '../workers/series/record.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { parseArguments, USAGE, type Arguments } from './arguments.ts';
import { nodeSource } from './node-source.ts';
import { emptyReport, readableReport } from './readable.ts';
import { skyLine } from './sky-line.ts';
import { printedRun, type MeasuredFile } from './run.ts';
import { threadedPools } from './star-pool.ts';
import { printTogether } from './together.ts';

/** `npm run measure`: the page's own pipeline over files named on the command line. */
async function main(): Promise<number> {
  const parsed = parseArguments(process.argv.slice(2));
  if (!parsed.ok) {
    process.stderr.write(`${parsed.message}\n\n${USAGE}`);
    return 2;
  }
  const options = parsed.value;
  const session = new FrameSession(await loadKernels());
  const pools = threadedPools(new URL('./star-thread.js', import.meta.url));
  const colour = Boolean(process.stdout.isTTY);
  const run: MeasuredFile[] = [];
  let faults = 0;
  for (const [i, file] of options.files.entries()) {
    if (options.series || options.together)
      process.stderr.write(`${i + 1} of ${options.files.length}: ${file}\n`);
    const measured = await measureFile(session, pools.make, file, options);
    const { report } = measured;
    if (report.fault) faults++;
    for (const warning of report.warnings) process.stderr.write(`${file}: ${warning}\n`);
    if (options.series || options.together) run.push(measured);
    if (!options.series && (options.json || !options.together))
      process.stdout.write(
        options.json
          ? `${JSON.stringify(report)}\n`
          : readableReport(report, options.stars, colour, measured.skyLine),
      );
  }
  if (options.series) process.stdout.write(printedRun(run, options, colour));
  if (options.together && !(await printTogether(run, options, pools.make, colour))) faults++;
  pools.close();
  return faults > 0 ? 1 : 0;
}

async function measureFile(
  session: FrameSession,
  makePool: StarPoolMaker,
  file: string,
  options: Arguments,
): Promise<MeasuredFile> {
  const path = isAbsolute(file) ? file : resolve(process.env.INIT_CWD ?? process.cwd(), file);
  try {
    const source = await nodeSource(path);
    const { rig, told, choice } = options;
    const how = { rig, told: { [ANY_KIND]: told }, choice, numbersAlone: true };
    const outcome = source.ok ? await session.measure(source.value, how) : source;
    if (!outcome.ok) return unread(emptyReport(file, outcome.fault));
    const { handle, stars, meta } = outcome.value;
    let report: FrameReport = { ...outcome.value.report, file };
    let field: FittedField | null = null;
    let cut: StampSet | null = null;
    if (options.fit && !report.fault) {
      const stamps = session.stamps(handle, FIT_STAMPS);
      const physics = stamps.ok
        ? await explainFrame(stamps.value, report, { ...UNKNOWN_RIG, ...rig }, makePool)
        : stamps;
      report = withPhysics(report, physics);
      if (options.together) {
        cut = stamps.ok ? stamps.value : null;
        field = physics.ok ? physics.value.field : null;
      }
    }
    if (options.stars) report.list = listStars(stars);
    return {
      report,
      record: recordOf(report, stars, meta),
      stamps: cut,
      field,
      skyLine: skyLine(outcome.value, options.readNoiseElectrons),
    };
  } catch (error) {
    const said = error instanceof Error ? error.message : String(error);
    return unread(
      emptyReport(file, { code: 'internal', message: `Cornerwise failed on this file: ${said}` }),
    );
  }
}

const unread = (report: FrameReport): MeasuredFile => ({
  report,
  record: recordOfFault(report),
  stamps: null,
  field: null,
  skyLine: null,
});

process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  // Whoever reads us (head, less) has seen enough.
  if (error.code === 'EPIPE') process.exit(0);
  throw error;
});
process.exitCode = await main();
