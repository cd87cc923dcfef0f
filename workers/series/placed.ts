import type { PathPoint, Registration, SeriesRecord } from '../protocol/series.ts';
import type { Places } from './fit-motion.ts';
import type { TimedFrame } from './order.ts';
import { layAgain } from './laid-again.ts';
import type { Laid } from './register.ts';
import {
  compose,
  IDENTITY,
  inverse,
  mapX,
  mapY,
  rotationRad,
  scaleOf,
  type Similarity,
} from './similarity.ts';

const DEG = Math.PI / 180;
/** A turn between two frames beyond this is a hand on the camera or the other side of the pier, no field rotation. */
const MOST_TURN_DEG = 10;

/** The run laid on its first usable frame. */
export interface Placed {
  registrations: Registration[];
  /** Frames (in order of time) that have a place in path and fit, first frame first. */
  used: number[];
  path: PathPoint[];
  /** In the first frame's axes whatever way the camera was turned; null when fewer than one frame tells its time. */
  places: Places | null;
  /** Frames among the used ones from which on the camera lay differently. */
  turns: number[];
  /** Rotation less these turns, degrees, and its variance. */
  rotationDeg: Float64Array;
  rotationVariance: Float64Array;
}

/** Registers the frames in order of time. */
export function placeFrames(records: readonly SeriesRecord[], order: readonly TimedFrame[]): Placed {
  const { laid } = layAgain(order.map(({ record }) => records[record]));
  const someTime = order.some(({ midS }) => midS !== null);
  const used = laid.flatMap((each, i) => (each.ok && !(someTime && order[i].midS === null) ? [i] : []));
  const first = laid[used[0]];
  const toMap = first?.ok ? inverse(first.fit.mapping) : IDENTITY;
  // The first lies on itself exactly, not to rounding.
  const mappings = laid.map((each) =>
    each === first ? IDENTITY : each.ok ? compose(each.fit.mapping, toMap) : null,
  );
  const registrations = laid.map((each, i) =>
    someTime && each.ok && order[i].midS === null ? NO_TIME : registrationOf(each, first, mappings[i]),
  );
  const zeroS = used.length ? order[used[0]].midS : null;
  const path = used.map((i): PathPoint => {
    const { dx, dy } = mappings[i]!;
    const { midS } = order[i];
    return {
      timeS: midS === null || zeroS === null ? null : midS - zeroS,
      xPx: dx,
      yPx: dy,
      rotationDeg: rotationRad(mappings[i]!) / DEG,
    };
  });
  return { registrations, used, path, ...inFirstAxes(laid, mappings, order, used, zeroS) };
}

const NO_TIME: Registration = {
  ok: false,
  why: 'no-time',
  sentence: 'The file does not say when it was taken, the others do: it has no place in the run.',
};

function registrationOf(laid: Laid, first: Laid | undefined, mapping: Similarity | null): Registration {
  if (!laid.ok) return laid;
  const { fit } = laid;
  const base = first?.ok && first !== laid ? first.fit : null;
  const rotationDeg = rotationRad(mapping!) / DEG;
  const both = (own: number, other: number | undefined) => Math.hypot(own, other ?? 0);
  return {
    ok: true,
    xPx: mapping!.dx,
    yPx: mapping!.dy,
    covariancePx2: fit.shiftCovariance.map((v, k) => v + (base?.shiftCovariance[k] ?? 0)) as [
      number,
      number,
      number,
    ],
    rotationDeg: { value: rotationDeg, sigma: both(fit.rotationSigmaRad, base?.rotationSigmaRad) / DEG },
    scale: { value: scaleOf(mapping!), sigma: both(fit.scaleSigma, base?.scaleSigma) },
    mirrored: mapping!.mirrored,
    flipped: Math.abs(rotationDeg) > 90,
    matched: laid.matched,
    rmsPx: fit.rmsPx,
  };
}

function inFirstAxes(
  laid: readonly Laid[],
  mappings: readonly (Similarity | null)[],
  order: readonly TimedFrame[],
  used: readonly number[],
  zeroS: number | null,
): Pick<Placed, 'places' | 'turns' | 'rotationDeg' | 'rotationVariance'> {
  const n = used.length;
  const column = () => new Float64Array(n);
  const places: Places = { midS: column(), exposureS: column(), x: column(), y: column(), own: column() };
  const [rotationDeg, rotationVariance] = [column(), column()];
  const turns: number[] = [];
  /** How the camera lies beside the first frame, without the field's own rotation. */
  let lie: Similarity = IDENTITY;
  let before: Similarity = IDENTITY;
  let turnedDeg = 0;
  used.forEach((i, k) => {
    const each = laid[i];
    const mapping = mappings[i]!;
    if (!each.ok) return;
    const step = compose(mapping, inverse(before));
    const stepDeg = rotationRad(step) / DEG;
    if (k > 0 && (step.mirrored || Math.abs(stepDeg) > MOST_TURN_DEG)) {
      turns.push(k);
      lie = compose({ ...step, dx: 0, dy: 0 }, lie);
    } else if (k > 0) turnedDeg += lie.mirrored ? -stepDeg : stepDeg;
    before = mapping;
    const back = inverse({ ...lie, dx: 0, dy: 0 });
    places.x[k] = mapX(back, mapping.dx, mapping.dy);
    places.y[k] = mapY(back, mapping.dx, mapping.dy);
    places.own[k] = (each.fit.shiftCovariance[0] + each.fit.shiftCovariance[2]) / 2;
    places.midS[k] = zeroS === null ? NaN : order[i].midS! - zeroS;
    places.exposureS[k] = order[i].exposureS ?? 0;
    rotationDeg[k] = turnedDeg;
    rotationVariance[k] = (each.fit.rotationSigmaRad / DEG) ** 2;
  });
  return { places: zeroS === null || n < 2 ? null : places, turns, rotationDeg, rotationVariance };
}
