import { basename } from 'node:path';
import type { Fault } from '../workers/protocol/faults.ts';
import type { Estimate, FrameReport, Region } from '../workers/protocol/report.ts';

/** The report of a file that could not be read. */
export const emptyReport = (file: string, fault: Fault): FrameReport => ({
  format: 1,
  file,
  fault,
  warnings: [],
  frame: null,
  stars: { detected: 0, measured: 0, saturated: 0 },
  sensor: { fwhmPx: null, hfdPx: null, elongation: null, angleDeg: null },
  regions: [],
  model: null,
  budget: null,
  causes: null,
  verdict: null,
});

/** A report for a person at a telescope: what matters first, eighty columns, colour only when asked for. */
export function readableReport(
  report: FrameReport,
  withStars: boolean,
  colour: boolean,
  skyLine: string | null = null,
): string {
  const bold = (text: string) => (colour ? `\x1b[1m${text}\x1b[0m` : text);
  const lines = [bold(basename(report.file))];
  if (report.fault) lines.push(`  ${report.fault.message}`);
  if (report.verdict)
    lines.push(`  ${bold(report.verdict.headline)}`, ...report.verdict.next.map((n) => `  → ${n.do}`));
  if (report.frame) lines.push(...frameLines(report));
  if (skyLine) lines.push(`  ${skyLine}`);
  if (report.stars.measured > 0) {
    lines.push(`  ${bold(comparison(report))}`, '', ...regionTable(report.regions));
  }
  if (withStars && report.list) {
    lines.push('', '       x       y     flux    snr   fwhm    hfd   A/B  angle  flags');
    for (const star of report.list)
      lines.push(
        [
          star.xPx.toFixed(1).padStart(8),
          star.yPx.toFixed(1).padStart(8),
          star.fluxAdu.toPrecision(4).padStart(9),
          star.snr.toFixed(0).padStart(7),
          plain(star.fwhmPx, 2).padStart(7),
          plain(star.hfdPx, 2).padStart(7),
          plain(star.elongation, 2).padStart(6),
          plain(star.angleDeg, 0).padStart(7),
          `  ${star.flags.join(' ')}`,
        ].join(''),
      );
  }
  return `${lines.join('\n')}\n\n`;
}

function frameLines({ frame, stars }: FrameReport): string[] {
  if (!frame) return [];
  const facts = [
    `${frame.widthPx} x ${frame.heightPx} px`,
    frame.mosaic ? `mosaic ${frame.mosaic}` : null,
    frame.exposureS === null ? null : `${frame.exposureS} s`,
    frame.arcsecPerPx === null ? null : `${frame.arcsecPerPx.toFixed(2)}″/px`,
    `${stars.measured} stars of ${stars.detected} detections`,
    stars.saturated ? `${stars.saturated} saturated` : null,
  ];
  return [`  ${facts.filter((fact) => fact !== null).join(', ')}`];
}

/** Centre against corners in one sentence; "wider" only when the difference is more than twice its error. */
function comparison({ regions, sensor, frame }: FrameReport): string {
  const pick = (col: number, row: number) =>
    regions.find((region) => region.col === col && region.row === row);
  const widthOf = (region?: Region) => region?.fwhmPx ?? null;
  const centre = widthOf(pick(1, 1));
  const corners = [pick(0, 0), pick(2, 0), pick(0, 2), pick(2, 2)].map(widthOf).filter((w) => w !== null);
  const scale = frame?.arcsecPerPx;
  const angle = (px: number) => (scale ? ` (${(px * scale).toFixed(1)}″)` : '');
  if (!centre || corners.length === 0) {
    const width = sensor.fwhmPx ?? sensor.hfdPx;
    const kind = sensor.fwhmPx ? 'FWHM' : 'half-flux diameter';
    return width
      ? `${kind} ${shown(width, 2)} px${angle(width.value)} over the frame.`
      : 'No widths measured.';
  }
  const mean = corners.reduce((sum, w) => sum + w.value, 0) / corners.length;
  const sigma = Math.sqrt(corners.reduce((sum, w) => sum + w.sigma ** 2, 0)) / corners.length;
  const difference = mean - centre.value;
  const significant = Math.abs(difference) > 2 * Math.hypot(sigma, centre.sigma);
  const percent = Math.abs((100 * difference) / centre.value).toFixed(0);
  const words = significant
    ? `${percent} % ${difference > 0 ? 'wider' : 'narrower'} in the corners`
    : 'the corners match the centre within the errors';
  return `FWHM ${shown(centre, 2)} px${angle(centre.value)} in the centre, ${shown({ value: mean, sigma }, 2)} px in the corners: ${words}.`;
}

function regionTable(regions: Region[]): string[] {
  const lines = ['   column row  stars        FWHM px         HFD px        A/B    angle'];
  for (const region of regions)
    lines.push(
      [
        String(region.col).padStart(9),
        String(region.row).padStart(4),
        String(region.stars).padStart(7),
        shown(region.fwhmPx, 2).padStart(15),
        shown(region.hfdPx, 2).padStart(15),
        plain(region.elongation?.value ?? null, 2).padStart(11),
        plain(region.angleDeg?.value ?? null, 0).padStart(9),
      ].join(''),
    );
  return lines;
}

const plain = (value: number | null, digits: number) => (value === null ? '-' : value.toFixed(digits));
const shown = (estimate: Estimate | null, digits: number) =>
  estimate ? `${estimate.value.toFixed(digits)} ± ${estimate.sigma.toFixed(digits)}` : '-';
