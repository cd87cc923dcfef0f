import { MUST_FIND, MUST_NOT_INVENT, invented, missed } from './presence.ts';
import type { Presence } from './presence.ts';
import type { Pull, Scored } from './score.ts';

/** 95 % interval of a share by Wilson's score (Wilson 1927, JASA 22, 209). */
export function wilson(hits: number, total: number): [number, number] {
  if (total === 0) return [0, 1];
  const z = 1.96;
  const p = hits / total;
  const centre = (p + (z * z) / (2 * total)) / (1 + (z * z) / total);
  const half = (z / (1 + (z * z) / total)) * Math.sqrt((p * (1 - p)) / total + (z * z) / (4 * total * total));
  return [centre - half, centre + half];
}

const percent = (value: number, digits = 1) => `${(100 * value).toFixed(digits)} %`;
const quantile = (values: number[], q: number) =>
  [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.floor(q * values.length))] ?? NaN;
const share = (hits: number, total: number) => {
  const [low, high] = wilson(hits, total);
  return `${hits} of ${total} (${percent(low)} to ${percent(high)})`;
};

/** Everything worth printing about a set of fields, as lines. */
export function summary(title: string, scored: Scored[]): string[] {
  if (scored.length === 0) return [];
  const lines = [`== ${title}: ${scored.length} fields`];
  lines.push(`cause right   ${share(scored.filter(({ right }) => right).length, scored.length)}`);
  lines.push(`family right  ${share(scored.filter(({ familyRight }) => familyRight).length, scored.length)}`);
  const shares = scored.flatMap(({ worstShare }) => worstShare ?? []);
  lines.push(
    `worst share of the budget off by ${percent(quantile(shares, 0.5))} median, ${percent(quantile(shares, 0.9))} at the 90th percentile`,
  );
  const ms = scored.map(({ fitMs }) => fitMs);
  const jacobians = scored.map(({ starJacobians }) => starJacobians);
  lines.push(
    `fit ${(quantile(ms, 0.5) / 1000).toFixed(1)} s median, ${(quantile(ms, 0.9) / 1000).toFixed(1)} s at the 90th percentile (measure ${(
      quantile(
        scored.map(({ measureMs }) => measureMs),
        0.5,
      ) / 1000
    ).toFixed(
      1,
    )} s); star-Jacobians ${quantile(jacobians, 0.5)} median, ${quantile(jacobians, 0.9)} at the 90th percentile`,
  );
  lines.push(
    ...confusion(scored),
    ...byStars(scored),
    ...reliability(scored),
    ...present(scored),
    ...errors(scored),
  );
  return lines;
}

function confusion(scored: Scored[]): string[] {
  const rows = new Map<string, Map<string, number>>();
  for (const { truthCause, cause } of scored) {
    const row = rows.get(truthCause) ?? new Map<string, number>();
    row.set(cause, (row.get(cause) ?? 0) + 1);
    rows.set(truthCause, row);
  }
  return [
    '-- confusion: truth -> verdicts',
    ...[...rows].map(
      ([truth, row]) =>
        `${truth.padEnd(12)} -> ${[...row]
          .sort((a, b) => b[1] - a[1])
          .map(([cause, count]) => `${cause} ${count}`)
          .join(', ')}`,
    ),
  ];
}

function byStars(scored: Scored[]): string[] {
  const bins: [number, number][] = [
    [0, 20],
    [20, 40],
    [40, 100],
    [100, 1e9],
  ];
  return [
    '-- by stars measured for the fit',
    ...bins.flatMap(([low, high]) => {
      const inside = scored.filter(({ stars }) => stars >= low && stars < high);
      if (inside.length === 0) return [];
      return [
        `${low} to ${high > 1e6 ? 'more' : high}: ${share(inside.filter(({ right }) => right).length, inside.length)}`,
      ];
    }),
  ];
}

function reliability(scored: Scored[]): string[] {
  const edges = [0, 0.5, 0.65, 0.8, 0.9, 0.97, 1.01];
  return [
    '-- reliability: confidence stated -> right',
    ...edges.slice(0, -1).flatMap((low, i) => {
      const inside = scored.filter(({ confidence }) => confidence >= low && confidence < edges[i + 1]);
      if (inside.length === 0) return [];
      const mean = inside.reduce((sum, { confidence }) => sum + confidence, 0) / inside.length;
      return [`${percent(mean)} -> ${share(inside.filter(({ right }) => right).length, inside.length)}`];
    }),
  ];
}

function present(scored: Scored[]): string[] {
  const all = scored.flatMap(({ presence }) => presence);
  const strong = all.filter(({ truth }) => truth >= MUST_FIND);
  const absent = all.filter(({ truth }) => truth <= MUST_NOT_INVENT);
  const name = (list: Presence[]) => list.map(({ cause }) => cause).join(', ');
  return [
    '-- single causes in the corner variance',
    `12 % or more, missed: ${share(strong.filter(missed).length, strong.length)} ${name(strong.filter(missed))}`,
    `4 % or less, invented: ${share(absent.filter(invented).length, absent.length)} ${name(absent.filter(invented))}`,
  ];
}

const isFitted = ({ scale, leftOut }: Pull) => scale > 0 && !leftOut;

/**
 * What is there and what is not, apart: a parameter that is rightly left out covers its truth of zero by itself. Of what
 * is there, what the model left out apart as well: it says only how large it may be unseen.
 */
function errors(scored: Scored[]): string[] {
  const byName = new Map<string, Pull[]>();
  for (const { pulls } of scored)
    for (const pull of pulls) byName.set(pull.name, [...(byName.get(pull.name) ?? []), pull]);
  const lines = [
    '-- parameters that are there and in the model: median error, robust sigma of pulls, within 2 sigma; there but left out; nulls',
  ];
  const covered = (pulls: Pull[]) => {
    const inside = pulls.filter(({ error, sigma }) => Math.abs(error) <= 2 * sigma).length;
    return pulls.length ? share(inside, pulls.length) : '-';
  };
  const scatter = (pulls: Pull[]) =>
    (
      1.4826 *
      quantile(
        pulls.map(({ error, sigma }) => Math.abs(error) / Math.max(sigma, 1e-12)),
        0.5,
      )
    ).toFixed(2);
  for (const [name, pulls] of byName) {
    const present = pulls.filter(isFitted);
    const unseen = pulls.filter(({ scale, leftOut }) => scale > 0 && leftOut);
    const absent = pulls.filter(({ scale }) => scale === 0);
    const said = absent.filter(({ error }) => error !== 0);
    const middle = (value: (pull: Pull) => number) => quantile(present.map(value), 0.5);
    lines.push(
      `${name.padEnd(16)} ${middle(({ error }) => Math.abs(error)).toPrecision(3)} (${percent(
        middle(({ error, scale }) => Math.abs(error) / scale),
        2,
      )}), pulls ${scatter(present)}, covered ${covered(present)}; left out ${covered(unseen)}; nulls ${covered(absent)}, of those in the model ${covered(said)}`,
    );
  }
  const every = [...byName.values()].flat();
  lines.push(
    `all of these     pulls ${scatter(every.filter(isFitted))}, covered ${covered(every.filter(isFitted))}; left out ${covered(every.filter(({ scale, leftOut }) => scale > 0 && leftOut))}; nulls ${covered(every.filter(({ scale }) => scale === 0))}`,
    `all together     covered ${covered(every)}`,
  );
  return lines;
}
