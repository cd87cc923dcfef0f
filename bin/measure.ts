import { isAbsolute, resolve } from 'node:path';
import { FrameSession } from '../workers/session.ts';
import type { StarPoolMaker } from '../workers/fit/fit-field.ts';
import { explainFrame, withPhysics } from '../workers/physics.ts';
import { FIT_STAMPS } from '../workers/protocol/api.ts';
import { ANY_KIND } from '../workers/protocol/reading.ts';
import type { FrameReport } from '../workers/protocol/report.ts';
import { UNKNOWN_RIG } from '../workers/protocol/rig.ts';
import { listStars } from '../workers/regions/report.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { parseArguments, USAGE, type Arguments } from './arguments.ts';
import { nodeSource } from './node-source.ts';
import { emptyReport, readableReport } from './readable.ts';
import { threadedPools } from './star-pool.ts';

/** `npm run measure`: the page's own pipeline over files named on the command line. */
async function main(): Promise<number> {
  const parsed = parseArguments(process.argv.slice(2));
  if (!parsed.ok) {
    process.stderr.write(`${parsed.message}\n\n${USAGE}`);
    return 2;
  }
  const session = new FrameSession(await loadKernels());
  const pools = threadedPools();
  let faults = 0;
  for (const file of parsed.value.files) {
    const report = await measureFile(session, pools.make, file, parsed.value);
    if (report.fault) faults++;
    for (const warning of report.warnings) process.stderr.write(`${file}: ${warning}\n`);
    process.stdout.write(
      parsed.value.json
        ? `${JSON.stringify(report)}\n`
        : readableReport(report, parsed.value.stars, Boolean(process.stdout.isTTY)),
    );
  }
  pools.close();
  return faults > 0 ? 1 : 0;
}

async function measureFile(
  session: FrameSession,
  makePool: StarPoolMaker,
  file: string,
  options: Arguments,
): Promise<FrameReport> {
  const path = isAbsolute(file) ? file : resolve(process.env.INIT_CWD ?? process.cwd(), file);
  try {
    const source = await nodeSource(path);
    const { rig, told, choice } = options;
    const how = { rig, told: { [ANY_KIND]: told }, choice };
    const outcome = source.ok ? await session.measure(source.value, how) : source;
    if (!outcome.ok) return emptyReport(file, outcome.fault);
    const { handle, stars } = outcome.value;
    let report: FrameReport = { ...outcome.value.report, file };
    if (options.fit && !report.fault) {
      const stamps = session.stamps(handle, FIT_STAMPS);
      report = withPhysics(
        report,
        stamps.ok ? await explainFrame(stamps.value, report, { ...UNKNOWN_RIG, ...rig }, makePool) : stamps,
      );
    }
    if (options.stars) report.list = listStars(stars);
    return report;
  } catch (error) {
    const said = error instanceof Error ? error.message : String(error);
    return emptyReport(file, { code: 'internal', message: `Cornerwise failed on this file: ${said}` });
  }
}

process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  // Whoever reads us (head, less) has seen enough.
  if (error.code === 'EPIPE') process.exit(0);
  throw error;
});
process.exitCode = await main();
