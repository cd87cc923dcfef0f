import type { RunJudgement, RunPoint } from '../../workers/protocol/run.ts';

/** One quantity over the run, as the timeline draws it. */
export interface Lane {
  name: string;
  title: string;
  lines: { values: number[]; dashed: boolean }[];
  limit: number | null;
  decimals: number;
}

const column = (points: RunPoint[], pick: (point: RunPoint) => number | null | undefined): number[] =>
  points.map((point) => pick(point) ?? NaN);
const any = (values: number[]) => values.some((value) => Number.isFinite(value));

/** The lanes of the timeline; a lane of which nothing is known is left out. */
export function lanesOf({ points, size, limits }: RunJudgement): Lane[] {
  const light = column(points, ({ brightness }) => brightness && 100 * brightness);
  const stars = column(points, ({ stars: count }) => count);
  const floor = Math.min(...points.flatMap(({ skyAdu }) => skyAdu ?? []));
  const lane = (
    name: string,
    title: string,
    decimals: number,
    limit: number | null,
    ...lines: number[][]
  ): Lane => ({
    name,
    title,
    decimals,
    limit,
    lines: lines.map((values, i) => ({ values, dashed: i === 1 })),
  });
  return [
    lane(
      'size',
      size === 'fwhmPx' ? 'Width of the stars (FWHM), px' : 'Size of the stars (half-flux diameter), px',
      1,
      limits.sizePx,
      column(points, (point) => point[size]?.value),
    ),
    lane(
      'elongation',
      'Length over width',
      1,
      limits.elongation,
      column(points, (point) => point.elongation?.value),
    ),
    lane(
      'light',
      'Light of the stars, % of the clear frames',
      0,
      limits.brightness && 100 * limits.brightness,
      light,
    ),
    lane('stars', 'Stars measured', 0, null, stars),
    lane(
      'sky',
      'Light of the sky over its darkest, ADU',
      0,
      null,
      column(points, ({ skyAdu }) => (skyAdu === null ? null : skyAdu - floor)),
    ),
    lane(
      'place',
      'Place of the field, px (right, and dashed: down)',
      0,
      null,
      column(points, ({ place }) => place?.xPx),
      column(points, ({ place }) => place?.yPx),
    ),
  ].filter(({ lines }) => lines.some(({ values }) => any(values)));
}
