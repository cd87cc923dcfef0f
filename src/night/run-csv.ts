import type { RunJudgement } from '../../workers/protocol/run.ts';
import { csvTable } from '../format/export.ts';

/** One row per frame in order of time: what was measured, whether it stays, and why not. */
export function runCsv({ points, kept, reasons, marks }: RunJudgement, names: string[]): string {
  const head = [
    'file',
    'timeUtc',
    'exposureS',
    ...['fwhmPx', 'hfdPx', 'elongation'].flatMap((name) => [name, `${name}Sigma`]),
    'angleDeg',
    'stars',
    'brightness',
    'skyAdu',
    'noiseAdu',
    'xPx',
    'yPx',
    'temperatureC',
    'focusPosition',
    'altitudeDeg',
    'cause',
    'confidence',
    'kept',
    'reasons',
    'happened',
  ];
  return csvTable(
    head,
    points.map((point, i) => [
      names[i],
      new Date(point.timeMs).toISOString(),
      point.exposureS,
      ...(['fwhmPx', 'hfdPx', 'elongation'] as const).flatMap((name) => [
        point[name]?.value,
        point[name]?.sigma,
      ]),
      point.angleDeg,
      point.stars,
      point.brightness,
      point.skyAdu,
      point.noiseAdu,
      point.place?.xPx,
      point.place?.yPx,
      point.temperatureC,
      point.focusPosition,
      point.altitudeDeg,
      point.verdict?.cause,
      point.verdict?.confidence,
      kept[i] ? 'yes' : 'no',
      reasons[i].join(' '),
      marks
        .filter(({ from, to }) => i >= from && i <= to)
        .map(({ kind }) => kind)
        .join(' '),
    ]),
  );
}
