import { fitMotion, fitMotionWith, spanOf, type MotionFit, type Places } from './fit-motion.ts';
import type { MotionSpec, Wave } from './motion-model.ts';
import { bandOf, falseAlarm, highestPeaks, type Band } from './periodogram.ts';

export interface WavesFound {
  fit: MotionFit;
  /** Of each wave, in the order in which they were found. */
  falseAlarms: number[];
}

/** A wave is told from this on: one run in a thousand without any would show one. */
export const MOST_FALSE_ALARM = 1e-3;
/** ... and fewer than two cycles only beyond doubt: a mount that wanders often looks like one or two. */
const MOST_OF_FEW_CYCLES = 1e-7;
const MOST_WAVES = 3;
const PEAKS = 5;
/** Log likelihood that four more coefficients (a harmonic) must gain: chance 1e-4. */
const HARMONIC_GAIN = 12;
const MOST_HARMONICS = 4;
/** ... and two more, a bend of the drift. */
const BEND_GAIN = 7;
const FEWEST_FRAMES = 8;

/**
 * Which drift, bend and waves the places show, best model by steps. A period that is known is not looked for: it is
 * fitted with its harmonics and held.
 */
export function findWaves(places: Places, base: MotionSpec, knownPeriodS: number | null): WavesFound | null {
  const straight = fitMotion(places, base, 'compare');
  if (!straight) return null;
  if (places.midS.length < base.segmentCount + FEWEST_FRAMES) return { fit: straight, falseAlarms: [] };
  const bent = fitMotion(places, { ...base, degree: 2 }, 'compare');
  // A wave must do better than a bend does.
  const plain = bent && bent.logLikelihood > straight.logLikelihood ? bent : straight;
  let best = addWaves(places, straight, plain, knownPeriodS);
  if (bent && bent.logLikelihood - straight.logLikelihood > BEND_GAIN) {
    const other = addWaves(places, bent, bent, knownPeriodS);
    // Waves need fewer frames to be believed when they, not a bend, explain the same.
    if (other.fit.logLikelihood - best.fit.logLikelihood > BEND_GAIN) best = other;
  }
  return best;
}

/** `without` is the best model that has no wave. */
function addWaves(
  places: Places,
  from: MotionFit,
  without: MotionFit,
  knownPeriodS: number | null,
): WavesFound {
  const band = bandOf(places);
  let fit = from;
  const falseAlarms: number[] = [];
  while (falseAlarms.length < MOST_WAVES) {
    const known = knownPeriodS !== null && falseAlarms.length === 0;
    const periods = known
      ? [knownPeriodS]
      : highestPeaks(places, fit.motion.spec, fit.noise.scatterPx2 + fit.noise.wanderPx2, band, PEAKS).map(
          (peak) => {
            const { spec } = fit.motion;
            const trial = (periodS: number) => withWave(spec, { periodS, harmonics: 1 });
            return bestPeriod(places, fit, { ...peak, harmonics: 1 }, trial, band);
          },
        );
    const next = periods
      .map((periodS) => fitMotion(places, withWave(fit.motion.spec, { periodS, harmonics: 1 }), 'compare'))
      .filter((each) => each !== null)
      .reduce<MotionFit | null>((a, b) => (a && a.logLikelihood > b.logLikelihood ? a : b), null);
    if (!next) break;
    const enriched = addHarmonics(places, next, band, known);
    const searched = known ? { ...band, width: 0 } : band;
    const before = falseAlarms.length === 0 ? without : fit;
    const chance = Math.min(
      ...[next, enriched].map((each) => chanceOf(places, each, fit, before.logLikelihood, searched)),
    );
    const { waves } = enriched.motion.spec;
    const cycles = spanOf(places) / waves[waves.length - 1].periodS;
    if (!(chance < (known || cycles >= 2 ? MOST_FALSE_ALARM : MOST_OF_FEW_CYCLES))) break;
    fit = enriched;
    falseAlarms.push(chance);
  }
  return { fit: settle(places, fit, band, knownPeriodS !== null), falseAlarms };
}

/** That noise alone looks as much like one more wave; both of two looks at it count. */
function chanceOf(
  places: Places,
  wave: MotionFit,
  from: MotionFit,
  logLikelihoodBefore: number,
  band: Band,
): number {
  const [more, less] = [wave.motion.x.length, from.motion.x.length];
  const freedom = 1 - more / places.midS.length;
  const gain = wave.logLikelihood - logLikelihoodBefore;
  return Math.min(1, 2 * falseAlarm(gain, band, freedom, 2 * (more - less)));
}

/** All periods once more, now that noise and the other waves are known. */
function settle(places: Places, found: MotionFit, band: Band, firstKnown: boolean): MotionFit {
  let fit = found;
  for (let wave = Number(firstKnown); wave < found.motion.spec.waves.length; wave++) {
    const { waves } = fit.motion.spec;
    const moved = (periodS: number): MotionSpec => ({
      ...fit.motion.spec,
      waves: waves.map((each, i) => (i === wave ? { ...each, periodS } : each)),
    });
    fit = fitMotion(places, moved(bestPeriod(places, fit, waves[wave], moved, band)), 'compare') ?? fit;
  }
  return fit;
}

const withWave = (spec: MotionSpec, wave: Wave): MotionSpec => ({ ...spec, waves: [...spec.waves, wave] });
const withLast = (spec: MotionSpec, wave: Wave): MotionSpec => ({
  ...spec,
  waves: [...spec.waves.slice(0, -1), wave],
});

/** Harmonics that pay for themselves; a wave seen at half its period is put right first. */
function addHarmonics(places: Places, first: MotionFit, band: Band, known: boolean): MotionFit {
  let fit = first;
  const waves = first.motion.spec.waves;
  const { periodS } = waves[waves.length - 1];
  const attempt = (wave: Wave, gain: number): boolean => {
    if (wave.harmonics / wave.periodS > band.to || 1 / wave.periodS < band.from) return false;
    const trial = (each: number) => withLast(fit.motion.spec, { ...wave, periodS: each });
    const settled = known ? wave.periodS : bestPeriod(places, fit, wave, trial, band);
    const other = fitMotion(places, trial(settled), 'compare');
    if (!other || other.logLikelihood - fit.logLikelihood < gain) return false;
    fit = other;
    return true;
  };
  if (!known) attempt({ periodS: 2 * periodS, harmonics: 2 }, HARMONIC_GAIN);
  for (;;) {
    const { waves } = fit.motion.spec;
    const last = waves[waves.length - 1];
    if (last.harmonics >= MOST_HARMONICS) break;
    if (!attempt({ ...last, harmonics: last.harmonics + 1 }, HARMONIC_GAIN)) break;
  }
  return fit;
}

/** The period near a peak with the best likelihood, the noise held. */
function bestPeriod(
  places: Places,
  fit: MotionFit,
  wave: Wave,
  specOf: (periodS: number) => MotionSpec,
  band: Band,
): number {
  const { midS } = places;
  const reach = 0.15 / (midS[midS.length - 1] - midS[0]);
  const cost = (frequency: number) =>
    -(fitMotionWith(places, specOf(1 / frequency), fit.noise)?.logLikelihood ?? -1e9);
  const centre = 1 / wave.periodS;
  return 1 / leastOf(cost, Math.max(centre - reach, band.from / 2), centre + reach);
}

const GOLDEN = (Math.sqrt(5) - 1) / 2;
/** Golden section. */
function leastOf(f: (x: number) => number, from: number, to: number): number {
  let [low, high] = [from, to];
  let [a, b] = [high - GOLDEN * (high - low), low + GOLDEN * (high - low)];
  let [fa, fb] = [f(a), f(b)];
  for (let i = 0; i < 36; i++)
    if (fa < fb) {
      [high, b, fb] = [b, a, fa];
      a = high - GOLDEN * (high - low);
      fa = f(a);
    } else {
      [low, a, fa] = [a, b, fb];
      b = low + GOLDEN * (high - low);
      fb = f(b);
    }
  return (low + high) / 2;
}
