import type { Scored } from '../field/score.ts';
import { wilson } from '../field/tables.ts';
import type { Compared } from '../together.ts';

const percent = (value: number, digits = 1) => `${(100 * value).toFixed(digits)} %`;
const quantile = (values: number[], q: number) =>
  [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.floor(q * values.length))] ?? NaN;
const share = (hits: number, total: number) => {
  const [low, high] = wilson(hits, total);
  return `${hits} of ${total} (${percent(low)} to ${percent(high)})`;
};

/** What several frames know more than one, as lines. */
export function togetherTables(compared: readonly Compared[]): string[] {
  if (compared.length === 0) return ['no fields'];
  const asked = compared.filter(({ frame }) => frame === 0);
  const fields = new Set(compared.map(({ field }) => field)).size;
  const joint = [...new Map(compared.map((one) => [one.field, one.jointMs])).values()];
  return [
    `== ${fields} poor fields, ${(compared.length / fields).toFixed(1)} frames each`,
    `joint part of the fit ${(quantile(joint, 0.5) / 1000).toFixed(1)} s median, ${(quantile(joint, 0.9) / 1000).toFixed(1)} s at the 90th percentile`,
    ...section('the frame asked about', asked),
    ...section('every frame', compared),
    ...byKind(compared),
    ...sigmas(compared),
  ];
}

function section(title: string, compared: readonly Compared[]): string[] {
  const line = (name: string, pick: (one: Compared) => Scored) => {
    const all = compared.map(pick);
    const shares = all.flatMap(({ worstShare }) => worstShare ?? []);
    const sure = all.filter(({ confidence }) => confidence >= 0.9);
    const pulls = all.flatMap(({ pulls: own }) => own);
    const inside = (list: typeof pulls) =>
      list.length
        ? percent(list.filter(({ error, sigma }) => Math.abs(error) <= 2 * sigma).length / list.length)
        : '-';
    return [
      `${name}: right ${share(all.filter(({ right }) => right).length, all.length)}, family ${share(all.filter(({ familyRight }) => familyRight).length, all.length)}`,
      `   confidence ${quantile(
        all.map(({ confidence }) => confidence),
        0.5,
      ).toFixed(
        2,
      )} median; 0.9 and more in ${sure.length}, of these right ${share(sure.filter(({ right }) => right).length, sure.length)}`,
      `   worst share off by ${percent(quantile(shares, 0.5))} median, ${percent(quantile(shares, 0.9))} at the 90th percentile`,
      `   within 2 sigma: present ${inside(pulls.filter(({ scale }) => scale > 0))}, nulls ${inside(pulls.filter(({ scale }) => scale === 0))}`,
    ];
  };
  return [
    `-- ${title}`,
    ...line('alone   ', ({ alone }) => alone),
    ...line('together', ({ together }) => together),
    `   put right by the others ${compared.filter(({ alone, together }) => !alone.right && together.right).length}, led astray ${compared.filter(({ alone, together }) => alone.right && !together.right).length}`,
  ];
}

function byKind(compared: readonly Compared[]): string[] {
  const kinds = [...new Set(compared.map(({ kind }) => kind))];
  return [
    '-- by kind, every frame: right alone, right together',
    ...kinds.map((kind) => {
      const own = compared.filter((one) => one.kind === kind);
      const wrong = own.filter(({ together }) => !together.right).map(({ together }) => together.cause);
      return `${kind.padEnd(14)} ${own.filter(({ alone }) => alone.right).length}, ${own.filter(({ together }) => together.right).length} of ${own.length}${wrong.length ? `; wrong: ${wrong.join(', ')}` : ''}`;
    }),
  ];
}

/** Errors of what is truly there, told by both: how much smaller with the others. */
function sigmas(compared: readonly Compared[]): string[] {
  const ratios = new Map<string, { sigma: number; error: [number, number] }[]>();
  for (const { alone, together } of compared)
    for (const pull of together.pulls) {
      const before = alone.pulls.find(({ name }) => name === pull.name);
      if (!before || !(before.sigma > 0) || !(pull.sigma > 0) || !(pull.scale > 0)) continue;
      const list = ratios.get(pull.name) ?? [];
      list.push({ sigma: pull.sigma / before.sigma, error: [Math.abs(pull.error), Math.abs(before.error)] });
      ratios.set(pull.name, list);
    }
  return [
    '-- what is truly there: error told with the others over that alone; median of the true errors, alone and together',
    ...[...ratios].map(
      ([name, list]) =>
        `${name.padEnd(16)} ${quantile(
          list.map(({ sigma }) => sigma),
          0.5,
        ).toFixed(2)}   ${quantile(
          list.map(({ error }) => error[1]),
          0.5,
        ).toPrecision(3)} -> ${quantile(
          list.map(({ error }) => error[0]),
          0.5,
        ).toPrecision(3)}  (${list.length})`,
    ),
  ];
}
