import { basename } from 'node:path';
import type { Estimate, FrameReport } from '../workers/protocol/report.ts';
import type { SeriesFrame, SeriesReport, SeriesResult } from '../workers/protocol/series.ts';

/** A run for a person at a telescope: what to do, why, then one line per frame. */
export function readableRun(reports: FrameReport[], result: SeriesResult, colour: boolean): string {
  const bold = (text: string) => (colour ? `\x1b[1m${text}\x1b[0m` : text);
  const { report, headline, notes } = result;
  const lines = [
    bold(`${report.frames} frames, ${report.used} used`),
    `  ${bold(headline)}`,
    ...notes.map((note) => `  ${note}`),
    '',
    ...figures(report),
    '',
    ...table(reports, result),
  ];
  return `${lines.join('\n')}\n`;
}

/** What a focus run found; micrometres only where a step's length is known. */
function focusFigures({ focus }: SeriesReport): string[] {
  if (!focus) return [];
  const row = (name: string, text: string) => `  ${name.padEnd(30)}${text}`;
  return [
    row('best focus of the middle', shown(focus.bestPosition)),
    row('micrometres per step', shown(focus.umPerStep)),
    row('tilt, µm per mm', `x ${shown(focus.tiltUmPerMm.x)}, y ${shown(focus.tiltUmPerMm.y)}`),
    row('curvature, 1/m', shown(focus.curvaturePerM)),
  ];
}

function figures(report: SeriesReport): string[] {
  if (report.kind === 'focus') return focusFigures(report);
  const { driftPxPerMin: drift, rotationDegPerMin, periodic, longestExposureS: longest } = report;
  const row = (name: string, text: string) => `  ${name.padEnd(30)}${text}`;
  const lines = [
    row('drift, px per minute', `x ${shown(drift.x)}, y ${shown(drift.y)}`),
    row('turn, degrees per minute', shown(rotationDegPerMin)),
  ];
  if (periodic)
    lines.push(
      row(
        'periodic error',
        `${shown(periodic.amplitudePx)} px to either side every ${shown(periodic.periodS)} s`,
      ),
      row(
        '',
        `along ${shown(periodic.angleDeg)}°, chance that it is noise ${periodic.falseAlarm.toExponential(0)}`,
      ),
    );
  else lines.push(row('periodic error', 'none found'));
  if (longest)
    for (const [share, estimate] of [
      ['50', longest.share50],
      ['90', longest.share90],
      ['95', longest.share95],
    ] as const)
      lines.push(
        row(
          `${share} % under ${longest.limitPx} px up to, s`,
          estimate ? shown(estimate) : 'longer than this run can tell',
        ),
      );
  return lines;
}

function table(reports: FrameReport[], { frames, report }: SeriesResult): string[] {
  const lines = ['     time s       x px       y px   turn °  stars  FWHM px    A/B  angle  file'];
  let at = 0;
  frames.forEach((frame, i) => {
    const { sensor, stars, file } = reports[i];
    const place = frame.registration.ok ? report.path[at++] : null;
    lines.push(
      [
        plain(place?.timeS ?? frame.timeS, 1).padStart(11),
        plain(place?.xPx ?? null, 2).padStart(11),
        plain(place?.yPx ?? null, 2).padStart(11),
        plain(place?.rotationDeg ?? null, 3).padStart(9),
        String(stars.measured).padStart(7),
        plain(sensor.fwhmPx?.value ?? null, 2).padStart(9),
        plain(sensor.elongation?.value ?? null, 2).padStart(7),
        plain(sensor.angleDeg?.value ?? null, 0).padStart(7),
        `  ${basename(file)}${whyNot(frame)}`,
      ].join(''),
    );
  });
  return lines;
}

function whyNot({ registration, shape }: SeriesFrame): string {
  if (!registration.ok) return `  not used: ${registration.sentence}`;
  if (shape?.says === 'within') return '  moved within the exposure';
  return shape?.says === 'tracking' || shape?.says === 'both' ? '  trailed along the path' : '';
}

const plain = (value: number | null, digits: number) => (value === null ? '-' : value.toFixed(digits));

/** As many digits as the error leaves: one of it, two where it begins with 1; at most four decimals. */
function shown(estimate: Estimate | null): string {
  if (!estimate) return 'not known';
  const { value, sigma } = estimate;
  const exponent = sigma > 0 ? Math.floor(Math.log10(sigma)) : -2;
  const digits = Math.min(4, Math.max(0, (sigma < 1.95 * 10 ** exponent ? 1 : 0) - exponent));
  return `${value.toFixed(digits)} ± ${sigma.toFixed(digits)}`;
}
