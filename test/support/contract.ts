import { BUDGET_PARTS } from '../../workers/protocol/report.ts';
import { STAR_FLAGS } from '../../workers/protocol/flags.ts';

// The JSON that the shell command promises, field by field: what is missing, of the wrong type, or too much.

type Check = (value: unknown, path: string) => string[];

const say = (path: string, want: string, value: unknown) => [
  `${path}: ${JSON.stringify(value)} is no ${want}`,
];
const number: Check = (value, path) => (Number.isFinite(value) ? [] : say(path, 'number', value));
const count: Check = (value, path) =>
  Number.isInteger(value) && (value as number) >= 0 ? [] : say(path, 'count', value);
const text: Check = (value, path) =>
  typeof value === 'string' && value !== '' ? [] : say(path, 'text', value);
const truth: Check = (value, path) => (typeof value === 'boolean' ? [] : say(path, 'truth value', value));
const oneOf =
  (...choices: unknown[]): Check =>
  (value, path) =>
    choices.includes(value) ? [] : say(path, `one of ${choices.join(', ')}`, value);
const orNull =
  (check: Check): Check =>
  (value, path) =>
    value === null ? [] : check(value, path);
const listOf =
  (check: Check, length?: number): Check =>
  (value, path) => {
    if (!Array.isArray(value) || (length !== undefined && value.length !== length))
      return say(path, `list${length === undefined ? '' : ` of ${length}`}`, value);
    return value.flatMap((item, i) => check(item, `${path}[${i}]`));
  };
const object =
  (fields: Record<string, Check>, optional: string[] = []): Check =>
  (value, path) => {
    if (typeof value !== 'object' || value === null || Array.isArray(value))
      return say(path, 'object', value);
    const given = value as Record<string, unknown>;
    const unknown = Object.keys(given).filter((key) => !(key in fields));
    return [
      ...unknown.map((key) => `${path}.${key} is not in the contract`),
      ...Object.entries(fields).flatMap(([key, check]) =>
        key in given
          ? check(given[key], `${path}.${key}`)
          : optional.includes(key)
            ? []
            : [`${path}.${key} is missing`],
      ),
    ];
  };

/** A value with a standard error of that value, never without. */
const estimate: Check = orNull((value, path) => [
  ...object({ value: number, sigma: number })(value, path),
  ...((value as { sigma: number }).sigma >= 0 ? [] : [`${path}.sigma is negative`]),
]);
const vector = object({ x: estimate, y: estimate });
const pair = object({ cos: estimate, sin: estimate });
const shape = { fwhmPx: estimate, hfdPx: estimate, elongation: estimate, angleDeg: estimate };

const star = object({
  xPx: number,
  yPx: number,
  fluxAdu: number,
  snr: number,
  fwhmPx: orNull(number),
  hfdPx: orNull(number),
  elongation: orNull((value, path) => ((value as number) >= 1 ? [] : say(path, 'elongation', value))),
  angleDeg: orNull((value, path) =>
    (value as number) >= -90 && (value as number) < 90 ? [] : say(path, 'axis in [-90, 90)', value),
  ),
  flags: listOf(oneOf(...STAR_FLAGS.map((flag) => flag.name))),
});

const model = object({
  chi2PerDof: number,
  stars: count,
  roundBlurFwhmPx: estimate,
  focusUm: estimate,
  tiltUmPerMm: vector,
  curvaturePerM: estimate,
  focusSignKnown: truth,
  coma: object({ strength: estimate, constantUm: vector, centreMm: orNull(vector) }),
  astigmatismUm: pair,
  astigmatismField: estimate,
  trefoilUm: pair,
  sphericalUm: estimate,
  motion: object({
    path: oneOf('none', 'straight', 'jump', 'swing'),
    lengthPx: estimate,
    angleDeg: estimate,
    minorityFraction: orNull(number),
  }),
  rotation: object({ angleDeg: estimate, centreMm: orNull(vector) }),
  dispersionPx: vector,
});

const FAMILIES = oneOf('optics', 'focus', 'tracking', 'sky', 'none');
const verdict = object({
  family: FAMILIES,
  cause: text,
  confidence: number,
  headline: text,
  next: listOf(
    object({
      do: text,
      when: oneOf('now', 'daylight', 'not-possible'),
      needs: orNull(text),
      cornerFwhmLeftPx: orNull(number),
    }),
  ),
  decider: orNull(object({ experiment: text, do: text, between: listOf(text) })),
});

export const reportProblems = (value: unknown): string[] =>
  object(
    {
      format: oneOf(1),
      file: text,
      fault: orNull(object({ code: text, message: text })),
      warnings: listOf(text),
      frame: orNull(
        object({
          widthPx: count,
          heightPx: count,
          mosaic: orNull(text),
          exposureS: orNull(number),
          pixelSizeUm: orNull(number),
          focalLengthMm: orNull(number),
          apertureMm: orNull(number),
          obstruction: orNull(number),
          arcsecPerPx: orNull(number),
        }),
      ),
      stars: object({ detected: count, measured: count, saturated: count }),
      list: listOf(star),
      sensor: object(shape),
      regions: listOf(
        object({ col: count, row: count, cols: oneOf(3), rows: oneOf(3), stars: count, ...shape }),
      ),
      model: orNull(model),
      budget: orNull(
        listOf(
          object({
            where: oneOf('centre', 'corners', 'c0r0', 'c1r0', 'c0r1', 'c1r1'),
            variancePx2: object(Object.fromEntries(BUDGET_PARTS.map((part) => [part, number]))),
          }),
          6,
        ),
      ),
      causes: orNull(
        listOf(
          object({
            cause: text,
            family: FAMILIES,
            cornerShare: estimate,
            significance: number,
            cornerFwhmWithoutPx: number,
          }),
        ),
      ),
      verdict: orNull(verdict),
    },
    ['list'],
  )(value, 'report');

const point = object({ timeS: orNull(number), xPx: number, yPx: number, rotationDeg: number });
/** The last object of a run. */
export const seriesProblems = (value: unknown): string[] =>
  object({
    series: object({
      kind: oneOf('tracking', 'focus'),
      frames: count,
      used: count,
      path: listOf(point),
      driftPxPerMin: vector,
      rotationDegPerMin: estimate,
      periodic: orNull(
        object({
          amplitudePx: estimate,
          periodS: estimate,
          angleDeg: estimate,
          falseAlarm: (chance, path) =>
            (chance as number) >= 0 && (chance as number) <= 1 ? [] : say(path, 'probability', chance),
        }),
      ),
      longestExposureS: orNull(
        object({ limitPx: number, share50: estimate, share90: estimate, share95: estimate }),
      ),
      focus: orNull(
        object({
          bestPosition: estimate,
          umPerStep: estimate,
          tiltUmPerMm: vector,
          curvaturePerM: estimate,
        }),
      ),
    }),
  })(value, 'run');
