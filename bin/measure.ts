import { isAbsolute, resolve } from 'node:path';
import { FrameSession } from '../workers/session.ts';
import type { Outcome } from '../workers/protocol/faults.ts';
import type { Measured } from '../workers/protocol/api.ts';
import type { FrameReport } from '../workers/protocol/report.ts';
import { listStars } from '../workers/regions/report.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { parseArguments, USAGE, type Arguments } from './arguments.ts';
import { nodeSource } from './node-source.ts';
import { emptyReport, readableReport } from './readable.ts';

/** `npm run measure`: the page's own pipeline over files named on the command line. */
async function main(): Promise<number> {
  const parsed = parseArguments(process.argv.slice(2));
  if (!parsed.ok) {
    process.stderr.write(`${parsed.message}\n\n${USAGE}`);
    return 2;
  }
  const session = new FrameSession(await loadKernels());
  let faults = 0;
  for (const file of parsed.value.files) {
    const report = await measureFile(session, file, parsed.value);
    if (report.fault) faults++;
    for (const warning of report.warnings) process.stderr.write(`${file}: ${warning}\n`);
    process.stdout.write(
      parsed.value.json
        ? `${JSON.stringify(report)}\n`
        : readableReport(report, parsed.value.stars, Boolean(process.stdout.isTTY)),
    );
  }
  return faults > 0 ? 1 : 0;
}

async function measureFile(
  session: FrameSession,
  file: string,
  { rig, stars }: Arguments,
): Promise<FrameReport> {
  const path = isAbsolute(file) ? file : resolve(process.env.INIT_CWD ?? process.cwd(), file);
  let outcome: Outcome<Measured>;
  try {
    const source = await nodeSource(path);
    outcome = source.ok ? await session.measure(source.value, { rig }) : source;
  } catch (error) {
    const said = error instanceof Error ? error.message : String(error);
    outcome = { ok: false, fault: { code: 'internal', message: `Cornerwise failed on this file: ${said}` } };
  }
  if (!outcome.ok) return emptyReport(file, outcome.fault);
  const report: FrameReport = { ...outcome.value.report, file };
  if (stars) report.list = listStars(outcome.value.stars);
  return report;
}

process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  // Whoever reads us (head, less) has seen enough.
  if (error.code === 'EPIPE') process.exit(0);
  throw error;
});
process.exitCode = await main();
