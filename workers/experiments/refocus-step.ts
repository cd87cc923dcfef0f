import { defocusVarianceUm2 } from '../rig/depth-of-focus.ts';
import type { Judgement, Told } from '../protocol/experiment.ts';
import type { Cause } from '../protocol/report.ts';
import { plain } from '../rig/plain-number.ts';
import { judged, lnMix, priorOf, voided } from './bayes.ts';
import { commonCells, lnAnyLength, lnLengths } from './compare.ts';
import type { CellEvidence, Evidence } from './evidence.ts';

/** Air that changes between the two frames widens all stars alike: by an eighth of the width, twice that of the variance. */
const AIR_CHANGES = 0.24;
/** The law of variances against defocus holds to this part on real stars: what all cells share, and each by itself. */
const LAW_SHARED = 0.08;
const LAW_OWN = 0.05;
/** Hands set a step to about a tenth. */
const HANDS = 0.1;
/** Step in µm at f/1 that is usual when nobody told it, a few depths of focus, and how far hands differ: ln, normal. */
const USUAL_STEP = 5;
const STEP_SPREAD = 0.6;
/** Sizes of a step in spreads about the likeliest, so dense that each is within the law's error of the next. */
const UNTOLD_STEPS = Array.from({ length: 27 }, (_, i) => (i - 13) / 6);
const TOLD_STEPS = Array.from({ length: 9 }, (_, i) => (i - 4) / 2);
/** Defocus over the one that the fit or the size of the stars lets expect, as dense. */
const DEFOCUS_OVER_EXPECTED = Array.from({ length: 17 }, (_, i) => 0.4 + 0.075 * i);
const USUAL_OBSTRUCTION = 0.25;
/** Of nine cells so many tell something of their own. */
const INDEPENDENT = 4;

/** Measured change of variance, place and its error. */
interface Change {
  u: number;
  v: number;
  rise: number;
  variance: number;
  width: number;
}

/**
 * One small step of the focuser. A region out of focus by z has the variance k z² beside what else widens its stars, so a step
 * s changes it by k (s² + 2 s z), k = (1+ε²) / (16 F² px²) (variance of an annulus' disc); sizes follow that variance as `sizeOf`
 * says. z counts positive in the direction of the step.
 */
export function judgeRefocus(before: Evidence, after: Evidence[], told: Told): Judgement {
  const prior = priorOf(before.report, ['focus', 'seeing']);
  const { frame, model } = before.report;
  if (!frame?.pixelSizeUm || !frame.focalLengthMm || !frame.apertureMm)
    return voided(
      'refocus-step',
      prior,
      'Focal length, aperture and pixel size are needed: tell them on the Rig sheet.',
    );
  const focalRatio = frame.focalLengthMm / frame.apertureMm;
  const k =
    defocusVarianceUm2(1, focalRatio, frame.obstruction ?? USUAL_OBSTRUCTION) / frame.pixelSizeUm ** 2;
  const steps = stepsOf(told, focalRatio);
  const pairs = commonCells(before, after[0]);
  if (pairs.length < 3)
    return voided('refocus-step', prior, 'Too few stars in common to compare the two frames.');
  const changes = pairs.map(changeOf);
  const smallest = Math.min(...pairs.map(([a]) => a.width.value));
  const largest = Math.max(...pairs.map(([a]) => a.width.value));
  // A defocus that would make this part of the variance seen.
  const reach = (variance: number) => Math.sqrt((0.6 * variance) / k);
  const known = (value: number | null | undefined) => (value ? Math.abs(value) : null);
  const halfWidthMm = (frame.widthPx * frame.pixelSizeUm) / 2000;
  const halfHeightMm = (frame.heightPx * frame.pixelSizeUm) / 2000;

  const patterns = (cause: Cause): ((u: number, v: number) => number)[] => {
    if (cause === 'focus') {
      const z = known(model?.focusUm?.value) ?? reach(smallest);
      return DEFOCUS_OVER_EXPECTED.flatMap((times) => [z * times, -z * times]).map((each) => () => each);
    }
    if (cause === 'tilt') {
      const [x, y] = [model?.tiltUmPerMm.x?.value, model?.tiltUmPerMm.y?.value];
      const leans: [number, number][] =
        x || y
          ? [[(x ?? 0) * halfWidthMm, (y ?? 0) * halfHeightMm]]
          : [0.3, 0.6, 1].flatMap((times) =>
              Array.from({ length: 8 }, (_, i): [number, number] => [
                times * reach(largest) * Math.cos((i * Math.PI) / 4),
                times * reach(largest) * Math.sin((i * Math.PI) / 4),
              ]),
            );
      return leans.flatMap(([a, b]) =>
        [1, -1].map((sign) => (u: number, v: number) => sign * (a * u + b * v)),
      );
    }
    if (cause === 'curvature') {
      const corner = known(model?.curvaturePerM?.value);
      const sag = corner ? (corner * (halfWidthMm ** 2 + halfHeightMm ** 2)) / 2 : reach(largest);
      return [1, -1].map((sign) => (u: number, v: number) => sign * sag * ((u * u + v * v) / 2 - 1 / 3));
    }
    return [() => 0];
  };
  const ln = (cause: Cause) => {
    const all = patterns(cause);
    const sizes = lnMix(
      all.flatMap((z) =>
        steps.map(([chance, step]): [number, number] => [
          chance / all.length,
          lnPattern(changes, k, step, z, smallest),
        ]),
      ),
    );
    // Coma and trails keep their length; astigmatism's turns with the focus.
    const same = lnLengths(before, after[0], 1);
    const any = lnAnyLength(before, after[0]);
    return (
      sizes +
      (cause === 'astigmatism'
        ? lnMix([
            [0.3, same],
            [0.7, any],
          ])
        : lnMix([
            [0.7, same],
            [0.3, any],
          ]))
    );
  };
  return judged(
    'refocus-step',
    prior,
    ln,
    told.stepUm
      ? reasonsOf(changes, k, told, halfWidthMm, halfHeightMm)
      : ['The step was not told: only its order of size is used.'],
  );
}

/** Sizes that the step may have had, µm, each with its chance: about the told one, or all that hands may take. */
function stepsOf({ stepUm }: Told, focalRatio: number): [chance: number, um: number][] {
  const [likeliest, spread, grid] = stepUm
    ? [Math.abs(stepUm), HANDS, TOLD_STEPS]
    : [USUAL_STEP * focalRatio ** 2, STEP_SPREAD, UNTOLD_STEPS];
  const chances = grid.map((at) => Math.exp(-(at ** 2) / 2));
  const all = chances.reduce((sum, chance) => sum + chance, 0);
  return grid.map((at, i) => [chances[i] / all, likeliest * Math.exp(spread * at)]);
}

const changeOf = ([a, b]: [CellEvidence, CellEvidence]): Change => ({
  u: a.u,
  v: a.v,
  rise: b.width.value - a.width.value,
  variance: a.width.variance + b.width.variance,
  width: a.width.value,
});

/**
 * HFD² / 8 of a star in air (variance `air`) out of focus (variance `disc`): a Gaussian alone has ln 2 of its variance, a disc
 * alone all of it; between them by rays through an annulus, to 2 %.
 */
const sizeOf = (air: number, disc: number): number =>
  Math.LN2 * air + disc * (Math.LN2 + ((1 - Math.LN2) * disc) / (disc + 1.7 * air));

/** Variance of the air that a star of this size has beside the disc; at least a twentieth of the size. */
function airIn(size: number, disc: number): number {
  let [low, high] = [0.05 * size, size / Math.LN2];
  if (sizeOf(low, disc) > size) return low;
  for (let i = 0; i < 30; i++) {
    const middle = (low + high) / 2;
    if (sizeOf(middle, disc) > size) high = middle;
    else low = middle;
  }
  return low;
}

/**
 * ln likelihood of the changes for a pattern of defocus. What all cells share is integrated out: the air's change, the same in
 * each, and the law's error, which goes with the change that it foretells (normal, of two vectors beside each cell's own noise).
 */
function lnPattern(
  changes: Change[],
  k: number,
  step: number,
  z: (u: number, v: number) => number,
  smallest: number,
): number {
  const own = INDEPENDENT / changes.length;
  const air = AIR_CHANGES * smallest;
  let [squares, ln] = [0, 0];
  // Sums over cells of products of (air's change, law's error, what is off), each over the cell's own variance.
  let [aa, al, ll, ao, lo] = [0, 0, 0, 0, 0];
  for (const { u, v, rise, variance, width } of changes) {
    const at = z(u, v);
    const [disc, moved] = [k * at * at, k * (at + step) ** 2];
    const beside = airIn(width, disc);
    const foretold = k * step * (step + 2 * Math.abs(at));
    const whole = variance + (LAW_OWN * foretold) ** 2 + (0.03 * width) ** 2;
    // A disc larger than the star itself is off as well.
    const off = width + rise - sizeOf(beside, moved) + Math.max(0, sizeOf(beside, disc) - width);
    const law = LAW_SHARED * foretold;
    const weight = own / whole;
    squares += weight * off * off;
    ln -= (own * Math.log(whole)) / 2;
    aa += weight * air * air;
    al += weight * air * law;
    ll += weight * law * law;
    ao += weight * air * off;
    lo += weight * law * off;
  }
  const determinant = (1 + aa) * (1 + ll) - al * al;
  const shared = ((1 + ll) * ao * ao - 2 * al * ao * lo + (1 + aa) * lo * lo) / determinant;
  return ln - (squares - shared) / 2 - Math.log(determinant) / 2;
}

/** Defocus before the step, positive in its direction, that makes a star of this size grow by `rise`: by bisection. */
function defocusOf(width: number, rise: number, k: number, step: number): number {
  // A disc is no larger than the star that holds it.
  const most = Math.min(3 * step, Math.sqrt(width / k));
  let [low, high] = [-most, most];
  for (let i = 0; i < 30; i++) {
    const z = (low + high) / 2;
    const after = sizeOf(airIn(width, Math.min(k * z * z, width)), k * (z + step) ** 2);
    if (after > width + rise) high = z;
    else low = z;
  }
  return (low + high) / 2;
}

/** Defocus of middle and edges by the law, as sentences. */
function reasonsOf(
  changes: Change[],
  k: number,
  told: Told,
  halfWidthMm: number,
  halfHeightMm: number,
): string[] {
  const step = Math.abs(told.stepUm!);
  const sign = told.stepUm! < 0 ? -1 : 1;
  const defocus = changes.map(({ rise, variance, width, u, v }) => {
    const error = Math.sqrt(variance + (0.03 * width) ** 2);
    return {
      u,
      v,
      z: sign * defocusOf(width, rise, k, step),
      sigma: (defocusOf(width, rise + error, k, step) - defocusOf(width, rise - error, k, step)) / 2,
    };
  });
  const mean = defocus.reduce((sum, { z }) => sum + z, 0) / defocus.length;
  const own = Math.sqrt(defocus.reduce((sum, each) => sum + each.sigma ** 2, 0)) / defocus.length;
  // Hands set a step to about a tenth, half of which is in the answer.
  const sigma = Math.hypot(own, 0.05 * step);
  const lean = (pick: (d: { u: number; v: number }) => number) => {
    const spread = defocus.reduce((sum, each) => sum + pick(each) ** 2, 0);
    return spread > 0 ? defocus.reduce((sum, each) => sum + pick(each) * (each.z - mean), 0) / spread : 0;
  };
  const [x, y] = [lean(({ u }) => u) / halfWidthMm, lean(({ v }) => v) / halfHeightMm];
  const side = mean > 0 ? 'behind focus: move it towards the telescope' : 'before focus: move it outwards';
  return [
    Math.abs(mean) > 2 * sigma
      ? `On average the sensor lay ${Math.abs(mean).toFixed(0)} ± ${sigma.toFixed(0)} µm ${side}.`
      : `On average the sensor was in focus to ${(2 * sigma).toFixed(0)} µm.`,
    `Its lean by this pair of frames: ${plain(x, 1)} µm per mm to the right, ${plain(y, 1)} downwards in the picture.`,
  ];
}
