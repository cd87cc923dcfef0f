import type { Estimate } from '../../workers/protocol/report.ts';
import type { SeriesResult, ShapePrediction } from '../../workers/protocol/series.ts';
import { lengthOf } from '../../workers/rig/tracking.ts';
import { angleWithError, plain, withError } from '../format/quantity.ts';
import { framesText, spanText } from './run-words.ts';

export interface Fact {
  name: string;
  value: string;
}

/** An error too small to be printed is not printed as nought. */
const known = (estimate: Estimate): string =>
  estimate.sigma < 0.0005 ? plain(estimate.value, 3) : withError(estimate);

/** A rate on the sky, told with its direction where it has one. */
const towards = (rate: Estimate, plus: string, minus: string): string =>
  Math.abs(rate.value) > 2 * rate.sigma
    ? `${known({ value: Math.abs(rate.value), sigma: rate.sigma })}″ to the ${rate.value > 0 ? plus : minus}`
    : `${known(rate)}″`;

/** The numbers of a run's tracking, each under a name that a person at a mount knows. */
export function trackingFacts({ report, sky }: SeriesResult, arcsecPerPx: number | null): Fact[] {
  const facts: Fact[] = [];
  const add = (name: string, value: string | null) => value && facts.push({ name, value });
  const { x, y } = report.driftPxPerMin;
  if (x && y) {
    const rate = lengthOf(x, y);
    const inArcsec = arcsecPerPx ? ` = ${plain(rate.value * arcsecPerPx, 2)}″` : '';
    add('Drift a minute', `${known(rate)} px${inArcsec}`);
  }
  if (sky) {
    add('Drift in right ascension, a minute', towards(sky.raArcsecPerMin, 'east', 'west'));
    add('Drift in declination, a minute', towards(sky.decArcsecPerMin, 'north', 'south'));
    const swing = sky.periodicRaArcsec;
    if (swing) add('It swings in right ascension by', `${known(swing)}″ to either side`);
  }
  const { periodic } = report;
  if (periodic) {
    const amplitude = arcsecPerPx ? ` = ${plain(periodic.amplitudePx.value * arcsecPerPx, 1)}″` : '';
    add('It swings to either side by', `${known(periodic.amplitudePx)} px${amplitude}`);
    add('Once in', `${known(periodic.periodS)} s`);
    add(
      'Chance that this is mere noise',
      periodic.falseAlarm < 1e-3 ? 'below 0.1 %' : `${plain(100 * periodic.falseAlarm, 1)} %`,
    );
  }
  const turn = report.rotationDegPerMin;
  if (turn && Math.abs(turn.value) > 3 * turn.sigma)
    add(
      'The field turns by, degrees an hour',
      angleWithError({ value: 60 * turn.value, sigma: 60 * turn.sigma }),
    );
  const longest = report.longestExposureS;
  const spans = (['share50', 'share90', 'share95'] as const).map((share) => longest?.[share] ?? null);
  const told = spans.map((span) => span && spanText(span.value));
  if (told[0] && told.every((text) => text === told[0]))
    add('Longest exposure for nearly every frame', told[0]);
  else
    ['half', 'nine in ten', 'nineteen in twenty'].forEach((name, i) =>
      add(`Longest exposure for ${name}`, told[i]),
    );
  return facts;
}

const SAYS: Record<ShapePrediction['says'], (count: number) => string> = {
  round: (count) => `${framesText(count)} round`,
  tracking: (count) => `${framesText(count)} long as the mount's motion makes them: tracking`,
  optics: (count) => `${framesText(count)} long for another reason: optics or focus`,
  both: (count) => `${framesText(count)} long by both together`,
  within: (count) =>
    `${framesText(count)} longer than those around: a gust or a knock while the shutter was open`,
};

/** How the frames' shapes share out: tracking, optics, both, or a blow. */
export function shapeSentence({ frames }: SeriesResult): string {
  const counts = new Map<ShapePrediction['says'], number>();
  for (const { shape } of frames) if (shape) counts.set(shape.says, (counts.get(shape.says) ?? 0) + 1);
  return [...counts]
    .sort((p, q) => q[1] - p[1])
    .map(([says, count]) => SAYS[says](count))
    .join('; ');
}
