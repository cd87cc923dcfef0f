import type { Judgement, LearnedScrew, Told } from '../protocol/experiment.ts';
import type { Cause, VectorEstimate } from '../protocol/report.ts';
import { plain } from '../rig/plain-number.ts';
import { judged, priorOf, voided } from './bayes.ts';
import type { Evidence } from './evidence.ts';

/** A shift of coma's middle below this many of its errors is none. */
const CLEAR = 2.5;

interface Place {
  x: number;
  y: number;
  sigma: number;
}

/**
 * One collimation screw turned. The middle of coma moves in proportion to small turns (a primary tilted by τ moves it by f τ:
 * elementary), so one frame teaches what the screw does, and with two screws known any place can be reached.
 */
export function judgeScrew(before: Evidence, after: Evidence[], told: Told): Judgement {
  const prior = priorOf(before.report, ['collimation', 'coma']);
  const { screw } = told;
  if (!screw?.turns)
    return voided(
      'screw-turn',
      prior,
      'Which screw was turned, and how far, is needed: say its name and the part of a turn.',
    );
  const [from, to] = [nodeOf(before), nodeOf(after[0])];
  if (!from || !to)
    return voided(
      'screw-turn',
      prior,
      'The middle of coma cannot be seen in both frames: take them on a richer field, well focused.',
    );
  const move = { x: to.x - from.x, y: to.y - from.y };
  const sigma = Math.hypot(from.sigma, to.sigma);
  const moved = Math.hypot(move.x, move.y);
  const clear = moved > CLEAR * sigma;
  const ln = (cause: Cause) => (clear ? (cause === 'collimation' || cause === 'coma' ? 0 : -2) : 0);
  const judgement = judged('screw-turn', prior, ln, []);
  if (!clear)
    return {
      ...judgement,
      sentence: `The middle of coma has not moved for sure (${moved.toFixed(2)} ± ${sigma.toFixed(2)} mm): turn the screw further, by a quarter.`,
      screws: null,
    };
  const learned: LearnedScrew[] = [
    ...(told.learned ?? []).filter(({ name }) => name !== screw.name),
    { name: screw.name, xMmPerTurn: move.x / screw.turns, yMmPerTurn: move.y / screw.turns },
  ];
  const { turn, leftMm } = turnsFor(to, learned);
  const words = turn
    .filter(({ turns }) => Math.abs(turns) > 0.01)
    .map(
      ({ name, turns }) =>
        `${name} by ${Math.abs(turns).toFixed(2)} of a turn ${turns > 0 ? 'clockwise' : 'anticlockwise'}`,
    );
  const now = words.length ? `turn ${words.join(' and ')} from where it is now` : 'leave it as it is';
  return {
    ...judgement,
    sentence: `${screw.name} moves the middle of coma by ${(moved / Math.abs(screw.turns) / 8).toFixed(2)} mm per eighth of a turn: ${now}; ${leftMm.toFixed(1)} mm from the picture’s middle are left.`,
    reasons: [
      `Middle of coma ${place(from)} before, ${place(to)} after, in mm from the picture’s middle.`,
      ...(learned.length < 2
        ? ['One screw moves it along one line only: try a second one to reach the middle.']
        : []),
    ],
    screws: { learned, turn, leftMm },
  };
}

/** Turns that bring the middle of coma closest to the sensor's, the least of them when more than two screws are known. */
export function turnsFor(
  node: { x: number; y: number },
  learned: readonly LearnedScrew[],
): { turn: { name: string; turns: number }[]; leftMm: number } {
  // t = -Mᵀ (M Mᵀ + tiny)⁻¹ c, M the 2 x n matrix of what the screws do: the shortest answer of least squares.
  let [xx, xy, yy] = [0, 0, 0];
  for (const { xMmPerTurn: x, yMmPerTurn: y } of learned) {
    xx += x * x;
    xy += x * y;
    yy += y * y;
  }
  const tiny = 1e-6 * (xx + yy);
  const det = (xx + tiny) * (yy + tiny) - xy * xy;
  const [a, b] = [((yy + tiny) * node.x - xy * node.y) / det, ((xx + tiny) * node.y - xy * node.x) / det];
  const turn = learned.map(({ name, xMmPerTurn, yMmPerTurn }) => ({
    name,
    turns: -(xMmPerTurn * a + yMmPerTurn * b),
  }));
  const reached = learned.reduce(
    (sum, { xMmPerTurn, yMmPerTurn }, i) => ({
      x: sum.x + xMmPerTurn * turn[i].turns,
      y: sum.y + yMmPerTurn * turn[i].turns,
    }),
    { x: node.x, y: node.y },
  );
  return { turn, leftMm: Math.hypot(reached.x, reached.y) };
}

function nodeOf({ report }: Evidence): Place | null {
  const centre: VectorEstimate | null | undefined = report.model?.coma.centreMm;
  if (!centre?.x || !centre.y) return null;
  return { x: centre.x.value, y: centre.y.value, sigma: Math.hypot(centre.x.sigma, centre.y.sigma) };
}

const place = ({ x, y }: Place): string => `(${plain(x, 2)}, ${plain(y, 2)})`;
