import { basename } from 'node:path';
import type { StarPoolMaker } from '../workers/fit/fit-field.ts';
import type { Estimate, FrameReport } from '../workers/protocol/report.ts';
import { UNKNOWN_RIG } from '../workers/protocol/rig.ts';
import type { TogetherReport } from '../workers/protocol/together.ts';
import { explainTogether } from '../workers/together.ts';
import type { Arguments } from './arguments.ts';
import type { MeasuredFile } from './run.ts';

/** What `--together` prints after its files; false where they could not be explained together. */
export async function printTogether(
  files: readonly MeasuredFile[],
  options: Arguments,
  makePool: StarPoolMaker,
  colour: boolean,
): Promise<boolean> {
  process.stderr.write(`${files.length} frames together\n`);
  const outcome = await explainTogether(files, { ...UNKNOWN_RIG, ...options.rig }, makePool);
  const fault = outcome.ok ? null : outcome.fault;
  if (options.json)
    process.stdout.write(
      `${JSON.stringify({ together: outcome.ok ? { fault, ...outcome.value } : { fault } })}\n`,
    );
  else
    process.stdout.write(
      outcome.ok
        ? readableTogether(
            outcome.value,
            files.map(({ report }) => report),
            colour,
          )
        : `${outcome.fault.message}\n`,
    );
  return outcome.ok;
}

/** For a person at a telescope: the verdict, what it rests on, a line for each frame, what all share. */
export function readableTogether(
  { verdict, used, frames, notes, optics, budget, causes }: TogetherReport,
  reports: readonly FrameReport[],
  colour: boolean,
): string {
  const bold = (text: string) => (colour ? `\x1b[1m${text}\x1b[0m` : text);
  const lines = [
    bold(`${used} frames together`),
    `  ${bold(verdict.headline)}`,
    ...verdict.next.map((move) => `  → ${move.do}`),
    ...(verdict.decider ? [`  ? ${verdict.decider.do}`] : []),
    '',
    ...notes.map((note) => `  ${note}`),
    '',
    '     stars  round blur px       moved px  alone                   together            file',
  ];
  frames.forEach(({ file, stars, leftOut, alone, together }, i) => {
    const model = together?.model;
    const said = (verdict: { cause: string; confidence: number } | null | undefined) =>
      verdict ? `${verdict.cause} ${(100 * verdict.confidence).toFixed(0)} %` : '-';
    lines.push(
      [
        String(stars).padStart(10),
        shown(model?.roundBlurFwhmPx).padStart(15),
        (model && model.motion.path === 'none' ? 'stood still' : shown(model?.motion.lengthPx)).padStart(15),
        `  ${said(alone).padEnd(24)}${said(together?.verdict).padEnd(20)}`,
        basename(reports[i]?.file ?? file),
        leftOut ? `  left out: ${leftOut}` : '',
      ].join(''),
    );
  });
  lines.push('', '  the optics, the same in all:');
  const row = (name: string, text: string) => lines.push(`  ${name.padEnd(32)}${text}`);
  row('focus, µm', shown(optics.focusUm));
  row('tilt, µm per mm', `x ${shown(optics.tiltUmPerMm.x)}, y ${shown(optics.tiltUmPerMm.y)}`);
  row('curvature, 1/m', shown(optics.curvaturePerM));
  row('coma that grows with the field', shown(optics.coma.strength));
  row('coma all over, µm', `x ${shown(optics.coma.constantUm.x)}, y ${shown(optics.coma.constantUm.y)}`);
  row('astigmatism, µm', `${shown(optics.astigmatismUm.cos)}, ${shown(optics.astigmatismUm.sin)}`);
  const at = (place: string) => budget.find(({ where }) => where === place)!.variancePx2;
  const wide = (place: string) => (2.3548 * Math.sqrt(at(place).total)).toFixed(2);
  lines.push(
    '',
    `  blur, mean of the frames: ${wide('centre')} px at the centre, ${wide('corners')} px in the corners`,
  );
  for (const { cause, cornerShare } of causes)
    if (cornerShare.value >= 0.01)
      row(
        `  ${cause}`,
        `${(100 * cornerShare.value).toFixed(0)} % of what the corners have beyond air and pixels`,
      );
  return `${lines.join('\n')}\n`;
}

const shown = (estimate: Estimate | null | undefined): string => {
  if (!estimate) return '-';
  const digits = Math.min(4, Math.max(0, 1 - Math.floor(Math.log10(Math.max(estimate.sigma, 1e-6)))));
  return `${estimate.value.toFixed(digits)} ± ${estimate.sigma.toFixed(digits)}`;
};
