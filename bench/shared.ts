import { readdirSync, existsSync } from 'node:fs';
import { join } from 'node:path';
import { nodeSource } from '../bin/node-source.ts';
import { FrameSession } from '../workers/session.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { judgeFrame, namesIn, type Verdict } from './shared-frames.ts';
import { median } from './statistics.ts';

/** `npm run bench -- shared`: frames with known truth, one line each, and what happened to the real ones. */
export async function run(): Promise<void> {
  const folder = join(process.cwd(), '../shared/frames');
  if (!existsSync(folder)) return console.log('The folder ../shared/frames is not here.');
  const session = new FrameSession(await loadKernels());
  for (const set of ['simulated', 'simulated-few', 'simulated-hard']) {
    const verdicts: Verdict[] = [];
    for (const name of namesIn(join(folder, set))) {
      const verdict = await judgeFrame(session, join(folder, set), name);
      verdicts.push(verdict);
      console.log(lineOf(verdict));
    }
    summarise(set, verdicts);
  }
  await realFrames(session, join(folder, 'real'));
}

const lineOf = ({
  name,
  alone20,
  found20,
  listed,
  falseOnes,
  widthRatios,
  placeRatios,
  positionErrorsPx,
  timeMs,
}: Verdict) =>
  [
    name.padEnd(18),
    `${found20}/${alone20} found, ${falseOnes.length} of ${listed} false`,
    `position ${positionErrorsPx.length ? median(positionErrorsPx).toFixed(3) : '-'} px`,
    `width over truth ${widthRatios.map(({ place, ratio }) => `${place} ${ratio.toFixed(3)}`).join(', ')}`,
    `at the place ${placeRatios.map(({ place, ratio }) => `${place} ${ratio.toFixed(3)}`).join(', ')}`,
    `${timeMs.toFixed(0)} ms`,
  ].join(' | ');

function summarise(set: string, verdicts: Verdict[]): void {
  const sum = (pick: (verdict: Verdict) => number) => verdicts.reduce((total, v) => total + pick(v), 0);
  const clean = verdicts.filter(({ kind }) => kind === 'clean').flatMap((v) => v.positionErrorsPx);
  const widths = (pick: (verdict: Verdict) => Verdict['widthRatios']) => {
    const all = verdicts.flatMap(pick);
    const off = all.filter(({ ratio }) => Math.abs(ratio - 1) > 0.02);
    const unexplained = off.filter(({ ratio, sigma }) => Math.abs(ratio - 1) > 0.02 + 2 * sigma);
    return `${off.length} of ${all.length} places (${unexplained.length} beyond two standard errors more), median ${median(all.map(({ ratio }) => ratio)).toFixed(3)}`;
  };
  console.log(
    `== ${set}: SNR > 20 ${percent(sum((v) => v.found20) / sum((v) => v.alone20))}, SNR > 15 ${percent(sum((v) => v.found15) / sum((v) => v.alone15))} found; ` +
      `${percent(sum((v) => v.falseOnes.length) / sum((v) => v.listed))} false; clean position ${clean.length ? median(clean).toFixed(3) : '-'} px; ` +
      `width of the region beyond 2 % in ${widths((v) => v.widthRatios)}; of its stars, drawn out to the corner itself, in ${widths((v) => v.placeRatios)}\n`,
  );
}
const percent = (share: number) => `${(100 * share).toFixed(1)} %`;

async function realFrames(session: FrameSession, folder: string): Promise<void> {
  for (const name of readdirSync(folder).filter((each) => !each.endsWith('.md'))) {
    const source = await nodeSource(join(folder, name));
    if (!source.ok) continue;
    const started = performance.now();
    const outcome = await session.measure(source.value, { rig: {} });
    const ms = performance.now() - started;
    const fault = outcome.ok ? outcome.value.report.fault : outcome.fault;
    const said = fault
      ? `${fault.code}: ${fault.message}`
      : outcome.ok
        ? `${outcome.value.report.stars.measured} stars, FWHM ${outcome.value.report.sensor.fwhmPx?.value.toFixed(2) ?? '-'} px, HFD ${outcome.value.report.sensor.hfdPx?.value.toFixed(2) ?? '-'} px`
        : '';
    console.log(`${name.padEnd(44)} ${ms.toFixed(0).padStart(6)} ms  ${said}`);
  }
}
