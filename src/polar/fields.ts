import type { SkyTracking } from '../../workers/protocol/series.ts';
import {
  axisFromTwo,
  growthOfErrors,
  hourAngleOf,
  refractionDecDrift,
  type AxisErrors,
  type FieldDrift,
} from '../../workers/rig/polar-axis.ts';
import type { FieldPlace, KeptDrift, PolarSaid } from '../keep/run-shelf.ts';

/** What a run says of its field by itself: its drift, and where its files say that it stood. */
export const driftOf = ({ decArcsecPerMin, midTimeMs, polar }: SkyTracking): KeptDrift => ({
  decArcsecPerMin,
  midTimeMs,
  hourAngleH: polar?.hourAngleH ?? null,
  declinationDeg: polar?.declinationDeg ?? null,
});

/** The same with what the person says of its place: an hour angle wins over a right ascension, both over the files. */
export function placedAt(drift: KeptDrift, place: FieldPlace, longitudeDeg: number | null): KeptDrift {
  const { midTimeMs } = drift;
  const { rightAscensionH } = place;
  const fromClock =
    rightAscensionH === null || midTimeMs === null || longitudeDeg === null
      ? null
      : hourAngleOf(midTimeMs, longitudeDeg, 15 * rightAscensionH);
  return {
    ...drift,
    hourAngleH: place.hourAngleH ?? fromClock ?? drift.hourAngleH,
    declinationDeg: place.declinationDeg ?? drift.declinationDeg,
  };
}

/** The drift that the person typed; null until there is a number. */
export function typedDrift({ typed }: PolarSaid): KeptDrift | null {
  if (typed.arcsecPerMin === null) return null;
  const value = typed.towards === 'north' ? typed.arcsecPerMin : -typed.arcsecPerMin;
  return {
    decArcsecPerMin: { value, sigma: typed.errorArcsecPerMin ?? 0 },
    midTimeMs: null,
    hourAngleH: null,
    declinationDeg: null,
  };
}

/** Both errors of the axis, or what is still needed for them. */
export type TwoFields =
  | { found: false; lacks: 'latitude' | 'here' | 'other' | 'there' | 'spread'; apartH: number | null }
  | {
      found: true;
      /** Without refraction where both declinations are known. */
      axis: AxisErrors;
      latitudeDeg: number;
      /** How many times as large the errors are as those of fields six hours apart. */
      growth: number;
      /** What refraction alone would look like, taken off; null where a declination is not known: then it is in `axis`. */
      refraction: AxisErrors | null;
      /** An error of a drift was not told: it is not in those of the answer. */
      errorUntold: boolean;
    };

/** `here`: this run's field, `there`: the other one. */
export function fromTwoFields(
  here: KeptDrift,
  there: KeptDrift | null,
  latitudeDeg: number | null,
): TwoFields {
  const lacks = (what: Extract<TwoFields, { found: false }>['lacks'], apartH: number | null = null) =>
    ({ found: false, lacks: what, apartH }) as const;
  if (latitudeDeg === null) return lacks('latitude');
  if (here.hourAngleH === null) return lacks('here');
  if (there === null) return lacks('other');
  if (there.hourAngleH === null) return lacks('there');
  const bent = [here, there].map(({ hourAngleH, declinationDeg }) =>
    declinationDeg === null
      ? null
      : refractionDecDrift({ latitudeDeg, hourAngleH: hourAngleH!, declinationDeg }),
  );
  const known = bent[0] !== null && bent[1] !== null;
  const [a, b] = [here, there].map(({ hourAngleH, decArcsecPerMin: seen }, i): FieldDrift => {
    const air = known ? bent[i]! : 0;
    const sigma = Math.hypot(seen.sigma, AIR_SHARE * air);
    return { hourAngleH: hourAngleH!, decArcsecPerMin: { value: seen.value - air, sigma } };
  });
  const axis = axisFromTwo(a, b, latitudeDeg);
  if (!axis) return lacks('spread', hoursApart(a.hourAngleH, b.hourAngleH));
  const [first, second] = [a, b].map(({ hourAngleH }, i): FieldDrift => ({
    hourAngleH,
    decArcsecPerMin: { value: bent[i] ?? 0, sigma: 0 },
  }));
  return {
    found: true,
    axis,
    latitudeDeg,
    growth: growthOfErrors(a, b),
    refraction: known ? axisFromTwo(first, second, latitudeDeg) : null,
    errorUntold: there.decArcsecPerMin.sigma === 0,
  };
}
/** Mild air at sea level is assumed: a kilometre higher it bends by a tenth less (barometric formula). */
const AIR_SHARE = 0.1;

/** Between two hour angles, the short way round: 0 to 12. */
const hoursApart = (a: number, b: number): number => {
  const apart = Math.abs(a - b) % 24;
  return Math.min(apart, 24 - apart);
};
