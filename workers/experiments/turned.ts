import type { Judgement, Told } from '../protocol/experiment.ts';
import type { Cause } from '../protocol/report.ts';
import { plain } from '../rig/plain-number.ts';
import { judged, lnGauss, lnMix, priorOf, voided } from './bayes.ts';
import { lnAnyLength, lnLengths, widthSlope } from './compare.ts';
import type { Evidence } from './evidence.ts';

/** Where a lopsided field comes from. */
type Seat = 'camera' | 'tube' | 'loose';
/** Before the experiment (our own guess: adapters lean more often than focusers, clamps slip now and then). */
const SEATS: Record<Seat, number> = { camera: 0.5, tube: 0.3, loose: 0.2 };
const REPEATS = 0.15;
const LEAST_TURN_DEG = 20;

/** Where each cause sits; a tilt may sit anywhere. */
const SITS: Partial<Record<Cause, Partial<Record<Seat, number>>>> = {
  tilt: { camera: 0.6, tube: 0.25, loose: 0.15 },
  curvature: { tube: 1 },
  collimation: { tube: 0.9, loose: 0.1 },
  coma: { tube: 1 },
  astigmatism: { tube: 1 },
  pinching: { tube: 1 },
  focus: { tube: 0.5, loose: 0.5 },
};

/**
 * The camera turned in the focuser. In the picture, what leans in the camera stays where it is; what belongs to the tube
 * turns backwards by the camera's turn; what does neither is a clamp that does not hold.
 */
export function judgeTurn(before: Evidence, after: Evidence[], told: Told): Judgement {
  const prior = priorOf(before.report, ['tilt']);
  const turn = told.cameraTurnDeg;
  if (!turn || Math.abs(turn) < LEAST_TURN_DEG)
    return voided(
      'rotate-camera',
      prior,
      'By how much the camera was turned is needed: say 90 or 180 degrees; less than 20 tells nothing.',
    );
  const [first, second] = [widthSlope(before), widthSlope(after[0])];
  if (!first || !second)
    return voided('rotate-camera', prior, 'Too few regions with stars: take the frames on a richer field.');
  const seat = (where: Seat) => lnSeat(where, before, after[0], turn);
  const ln = (cause: Cause) =>
    lnMix(Object.entries(SITS[cause] ?? { tube: 1 }).map(([where, share]) => [share, seat(where as Seat)]));
  const judgement = judged('rotate-camera', prior, ln, []);
  const weights = (Object.keys(SEATS) as Seat[]).map((where) => ({
    where,
    ln: Math.log(SEATS[where]) + seat(where),
  }));
  const most = Math.max(...weights.map((each) => each.ln));
  const total = weights.reduce((sum, each) => sum + Math.exp(each.ln - most), 0);
  const best = weights.find((each) => each.ln === most)!;
  const share = Math.round(Math.min(99, 100 / total));
  const says: Record<Seat, string> = {
    camera: 'stayed where it was in the picture: the sensor leans in the camera or its adapter',
    tube: 'turned in the picture: it belongs to the tube, a focuser not square, sag, or the optics',
    loose: 'did neither stay nor turn as it should: a clamp does not hold, or the camera was not seated',
  };
  const told_ = share < 70 ? ' It is not sure: turn the camera once more by as much.' : '';
  return {
    ...judgement,
    sentence: `What is lopsided ${says[best.where]} (${share} %).${told_}`,
    reasons: [
      `Stars grew towards ${direction(first)}° before and towards ${direction(second)}° after, in the picture.`,
      judgement.sentence,
    ],
  };
}

function lnSeat(seat: Seat, before: Evidence, after: Evidence, turnDeg: number): number {
  const [a, b] = [widthSlope(before)!, widthSlope(after)!];
  const size2 = a.x ** 2 + a.y ** 2;
  const loose = REPEATS ** 2 * size2 + a.variance + b.variance;
  const slope = (x: number, y: number) => lnGauss(b.x - x, loose) + lnGauss(b.y - y, loose);
  if (seat === 'camera') return slope(a.x, a.y) + meanTurned(before, after, 0);
  if (seat === 'loose') {
    const broad = size2 / 2 + loose;
    return lnGauss(b.x, broad) + lnGauss(b.y, broad) + anyMean(before, after);
  }
  // Which way round a quarter turn went is easily mistaken.
  return lnMix(
    [turnDeg, -turnDeg].map((each, i) => {
      const [c, s] = [Math.cos((each * Math.PI) / 180), Math.sin((each * Math.PI) / 180)];
      return [
        i === 0 ? 0.75 : 0.25,
        slope(c * a.x + s * a.y, c * a.y - s * a.x) + meanTurned(before, after, -each),
      ];
    }),
  );
}

/** The mean length alone: the cells change places. */
function meanTurned(a: Evidence, b: Evidence, turnDeg: number): number {
  const turn = (2 * turnDeg * Math.PI) / 180;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const loose = (REPEATS * Math.hypot(a.q1.value, a.q2.value)) ** 2 + (0.02 * b.width.value) ** 2;
  return (
    lnGauss(b.q1.value - (c * a.q1.value - s * a.q2.value), b.q1.variance + a.q1.variance + loose) +
    lnGauss(b.q2.value - (s * a.q1.value + c * a.q2.value), b.q2.variance + a.q2.variance + loose)
  );
}

/** A mean length of the usual size in any direction. */
function anyMean(a: Evidence, b: Evidence): number {
  const usual = (a.q1.value ** 2 + a.q2.value ** 2) / 2 + a.q1.variance + (0.02 * b.width.value) ** 2;
  return lnGauss(b.q1.value, b.q1.variance + usual) + lnGauss(b.q2.value, b.q2.variance + usual);
}

const direction = ({ x, y }: { x: number; y: number }): string =>
  plain((Math.atan2(y, x) * 180) / Math.PI, 0);

/** Same field over the pier: the tube hangs the other way round. What stays is built in, what changes sags or drifts. */
export function judgePier(before: Evidence, after: Evidence[]): Judgement {
  const prior = priorOf(before.report, ['trailing']);
  const [a, b] = [widthSlope(before), widthSlope(after[0])];
  const ln = (cause: Cause) =>
    cause === 'trailing' || cause === 'rotation'
      ? lnMix([
          [0.25, lnLengths(before, after[0], 1)],
          [0.75, lnAnyLength(before, after[0])],
        ])
      : lnMix([
          [0.8, lnLengths(before, after[0], 1)],
          [0.2, lnAnyLength(before, after[0])],
        ]);
  const judgement = judged('other-pier-side', prior, ln, []);
  if (!a || !b) return judgement;
  const change = Math.hypot(b.x - a.x, b.y - a.y);
  const sigma = Math.sqrt(a.variance + b.variance + REPEATS ** 2 * (a.x ** 2 + a.y ** 2));
  return {
    ...judgement,
    reasons: [
      change > 3 * sigma
        ? 'The side of the picture with the larger stars has changed: something sags, the mirror in its cell or the focuser under the camera.'
        : 'The side of the picture with the larger stars has stayed: what makes it is built in, nothing sags.',
    ],
  };
}
