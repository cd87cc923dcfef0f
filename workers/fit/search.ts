import { P, PARAMETER_COUNT } from './parameters.ts';
import type { Group, ModelShape, PathKind } from './parameters.ts';
import { FieldFitter } from './levenberg.ts';
import type { FitState } from './field-system.ts';
import type { FitOptions, FitResult } from './levenberg.ts';
import type { MeanStar } from './mean-star.ts';
import type { MomentField } from './moment-fit.ts';
import {
  MOVING,
  STILL,
  bothStarts,
  cleanStarts,
  defocused,
  glance,
  hops,
  momentStarts,
  sameUpToSign,
} from './starts.ts';
import type { Start } from './starts.ts';
import { pathStarts } from './path-starts.ts';
import { COLOUR_SPREAD } from './colour-spread.ts';
import { jumpShare } from './path.ts';

/** What the search works on. */
export interface SearchGround {
  fitter: FieldFitter;
  /** Stars in the order in which they enter, fit for racing first. */
  order: number[];
  moments: MomentField;
  meanStar: MeanStar;
  start: Pick<FitState, 'dxPx' | 'dyPx'>;
  obstruction: number;
  /** Width over height of the frame. */
  aspect: number;
  priors: FitOptions['priors'];
  /** Whether the air spreads the colours so far that the green light's own width shows. */
  coloured: boolean;
  /** Median signal to noise of the stars. */
  typicalSnr: number;
  signal?: AbortSignal;
  report(done: number): void;
}

/** Numbers of stars and iterations of the search's stages: what it costs is set here. */
const RACE = { stars: 14, iterations: 4, keep: 4 };
const HOP = { stars: 14, iterations: 4 };
const REFINE = { stars: 28, iterations: 6, keep: 2 };
const PATH_RACE = { stars: 14, iterations: 3 };
const PATH = { stars: 24, iterations: 6, keep: 2 };
const DECIDE = { stars: 50, iterations: 8 };
/** Trimmed cost per pixel below which a start explains its stars: other sign patterns need not be tried. */
const EXPLAINED = 1.06;
/** From here on something is missing whatever the moments say. */
const POOR = 1.12;
const BRIGHT = 60;
/** Difference of the axes' variances over their sum from which stars count as drawn out. */
const ELONGATED = 0.06;
/** A contender this many times worse per pixel than the best is not refined further. */
const HOPELESS = 1.3;
/** And one so much worse while another explains the stars is not even refined. */
const OUTRUN = 1.5;

/** A path more complicated than a straight line must gain this much, and no part of a jump be shorter than 8 %. */
const JUMP_GAIN = 25;
const SWING_GAIN = 40;
const BOTH_GAIN = 60;
const FREE_GAIN = 60;
const UNEXPLAINED_SHARE = 0.05;
const LEAST_MINORITY = 0.08;
/** Motion stands against constant astigmatism: it is preferred when the costs are this close (no coincidence needed). */
const MOTION_HEAD_START = 12;

export interface SearchOutcome {
  /** Best of each kind of explanation, refined on the deciding stars; best first. */
  candidates: FitResult[];
  stars: number[];
}

export async function search(ground: SearchGround): Promise<SearchOutcome> {
  const { fitter, order, moments, obstruction, aspect } = ground;
  const options = (stage: { stars: number; iterations: number }, warmUp: number): FitOptions => ({
    stars: order.slice(0, stage.stars),
    fineness: 'search',
    iterations: stage.iterations,
    warmUp,
    tolerance: 1,
    priors: ground.priors,
    signal: ground.signal,
  });
  const run = (start: Start, from: FitOptions, state?: FitState) => {
    const { theta, shape } = ground.coloured ? withColourSpread(start) : start;
    return fitter.fit({ ...(state ?? positions(ground, start.shift)), theta }, shape, from);
  };

  // Race: every start for a few iterations on a few stars.
  const starts = [...momentStarts(moments, obstruction, RACE.keep), ...cleanStarts(moments)];
  const raced: FitResult[] = [];
  for (const start of starts) {
    raced.push(await run(start, options(RACE, 4)));
    ground.report(0.3 * (raced.length / starts.length));
  }
  // Faint stars are explained by anything: there only a comparison tells.
  const explained = ground.typicalSnr > BRIGHT ? EXPLAINED : 0;
  for (const path of ['none', 'straight'] as const) {
    const leader = ranked(raced.filter((result) => result.shape.path === path))[0];
    if (!leader || trimmedCost(leader) < explained) continue;
    const best = { theta: leader.state.theta, shape: leader.shape };
    const others = [...hops(best, aspect), defocused(best)];
    for (const hop of others) raced.push(await run(hop, options(HOP, 1), leader.state));
  }
  ground.report(0.4);

  // Refine the best distinct ones of each mode on more stars, each mode also from the other's optics.
  const best = Math.min(...raced.map(trimmedCost));
  const settled = best < explained;
  const refined: FitResult[] = [];
  for (const path of ['none', 'straight'] as const) {
    const own = distinct(ranked(raced.filter((result) => result.shape.path === path)));
    for (const result of own.slice(0, settled ? 1 : REFINE.keep)) {
      const hopeless = settled && trimmedCost(result) > OUTRUN * best;
      refined.push(hopeless ? result : await run(asStart(result), options(REFINE, 2), result.state));
    }
  }
  ground.report(0.55);
  const still = ranked(refined.filter((result) => result.shape.path === 'none'))[0];
  const straight = ranked(refined.filter((result) => result.shape.path === 'straight'))[0];
  const contenders: FitResult[] = [still, straight];
  if (!settled) {
    const crossed = [
      await run(crossSeed(straight, STILL), options(REFINE, 2), straight.state),
      await run(crossSeed(still, MOVING), options(REFINE, 2), still.state),
    ];
    crossed.forEach((result, i) => (contenders[i] = ranked([contenders[i], result])[0]));
  }
  ground.report(0.65);

  // Paths that are not straight, from clean optics, or coma and trefoil imitate them.
  if (wantsPaths(ground, contenders)) {
    for (const kind of ['jump', 'swing'] as const) {
      const tried: FitResult[] = [];
      for (const start of pathStarts(ground.meanStar, kind, contenders[1].state.theta))
        tried.push(await run(start, options(PATH_RACE, 3)));
      const further: FitResult[] = [];
      for (const result of ranked(tried).slice(0, PATH.keep))
        further.push(await run(asStart(result), options(PATH, 2), result.state));
      contenders.push(ranked(further)[0]);
    }
  }
  if (isElongated(ground) && wantsPaths(ground, contenders)) {
    const tried: FitResult[] = [];
    for (const start of bothStarts(contenders[0].state.theta, contenders[1].state.theta))
      tried.push(
        await run(
          start,
          options(PATH_RACE, 1),
          (start.why.startsWith('motion') ? contenders[1] : contenders[0]).state,
        ),
      );
    const leader = ranked(tried)[0];
    contenders.push(await run(asStart(leader), options(PATH, 1), leader.state));
  }
  ground.report(0.75);

  // Decide on all stars with one set of variances.
  const decideStars = order.slice(0, DECIDE.stars);
  const deciding = options(DECIDE, 3);
  const first = ranked(
    contenders.map((result) => ({ ...result, cost: result.cost / result.answers.length })),
  )[0];
  await fitter.freeze(first, { ...deciding, stars: order }, 0.02);
  const leading = Math.min(...contenders.map(trimmedCost));
  const decided: FitResult[] = [];
  for (const contender of contenders.filter((result) => trimmedCost(result) < HOPELESS * leading))
    decided.push(await run(asStart(contender), deciding, contender.state));
  ground.report(0.9);
  const credible = decided.filter((result) => !isSliver(result));
  return { candidates: preferred(credible.length > 0 ? credible : decided.slice(0, 1)), stars: decideStars };
}

const positions = ({ start }: SearchGround, [dx, dy]: [number, number] = [0, 0]): FitState => ({
  theta: new Float64Array(PARAMETER_COUNT),
  dxPx: start.dxPx.map((x) => x + dx),
  dyPx: start.dyPx.map((y) => y + dy),
});

/** Green light's own width is free beside all else, from what filters have. */
function withColourSpread({ theta, shape }: Pick<Start, 'theta' | 'shape'>): Pick<Start, 'theta' | 'shape'> {
  if (shape.groups.has('colourSpread')) return { theta, shape };
  const spread = theta.slice();
  spread[P.colourSpread] = COLOUR_SPREAD.centre;
  return { theta: spread, shape: withGroups(shape, [...shape.groups, 'colourSpread']) };
}

const asStart = ({ state, shape }: FitResult): Start => ({ theta: state.theta, shape, why: 'continued' });

/** Sum over the best three quarters of the stars: a galaxy or a double must not choose the start. */
const trimmedCost = ({ answers }: FitResult): number => {
  const costs = answers.map((answer) => answer.cost / Math.max(answer.pixels, 1)).sort((a, b) => a - b);
  const kept = Math.max(1, Math.ceil(0.75 * costs.length));
  return costs.slice(0, kept).reduce((sum, cost) => sum + cost, 0) / kept;
};

const ranked = (results: FitResult[]): FitResult[] =>
  [...results].sort((a, b) => trimmedCost(a) - trimmedCost(b));

const distinct = (results: FitResult[]): FitResult[] =>
  results.filter(
    (result, i) =>
      !results.slice(0, i).some((better) => sameUpToSign(better.state.theta, result.state.theta)),
  );

/** The other mode's optics with this mode's freedom. */
function crossSeed({ state }: FitResult, shape: ModelShape): Start {
  const theta = state.theta.slice();
  if (shape.path === 'none') {
    // A trail of length L looks like astigmatism of the same second moments.
    const length2 = Math.hypot(theta[P.motionX], theta[P.motionY]) ** 2 / 12;
    const angle = 2 * Math.atan2(theta[P.motionY], theta[P.motionX]);
    const a = Math.sqrt(length2);
    theta[P.astigmatism0] = a * Math.cos(angle);
    theta[P.astigmatism45] = a * Math.sin(angle);
    theta[P.focus] += 0.5 * a;
  }
  return { theta, shape, why: 'from the other mode' };
}

/**
 * Other paths than a straight one are looked for where stars are drawn out alike and a plain trail does not explain
 * them: astigmatism, coma and trefoil together imitate a swing or a jump to a percent.
 */
function wantsPaths(ground: SearchGround, [still, straight]: FitResult[]): boolean {
  const trail = trimmedCost(straight);
  const unexplained = ground.typicalSnr < BRIGHT || trail > EXPLAINED || trimmedCost(still) < trail;
  return (isElongated(ground) && unexplained) || Math.min(trail, trimmedCost(still)) > POOR;
}

/** Whether all stars are drawn out alike. */
function isElongated({ moments, meanStar }: SearchGround): boolean {
  const { typical, qx, qy } = glance(moments);
  const { excess, across } = meanStar;
  return Math.hypot(qx, qy) > ELONGATED * typical || excess > ELONGATED * (excess + 2 * across);
}

/**
 * What a model must be better by before it is believed: simple paths first, and the more so the more is left
 * unexplained, for a complicated path soaks up a wrong core as readily as a true movement.
 */
export function handicapOf({ shape, answers }: Pick<FitResult, 'shape' | 'answers'>, misfit: number): number {
  const scale = Math.max(1, misfit);
  const pixels = answers.reduce((sum, answer) => sum + answer.pixels, 0);
  const unexplained = UNEXPLAINED_SHARE * (scale - 1) * pixels;
  const both = shape.groups.has('astigmatism') && shape.groups.has('motion') ? BOTH_GAIN * scale : 0;
  const path: Record<PathKind, number> = {
    none: MOTION_HEAD_START,
    straight: 0,
    jump: JUMP_GAIN * scale + unexplained,
    swing: SWING_GAIN * scale + unexplained,
    free: FREE_GAIN * scale + unexplained,
  };
  return path[shape.path] + both;
}

function preferred(results: FitResult[]): FitResult[] {
  const misfit = medianMisfit(results[0]);
  const price = (result: FitResult) => result.cost + handicapOf(result, misfit);
  return [...results].sort((a, b) => price(a) - price(b));
}

/** A jump with next to nothing on its other side soaks up a wrong core: it is no jump. */
function isSliver({ shape, state }: FitResult): boolean {
  const share = jumpShare(state.theta[P.path1]);
  return shape.path === 'jump' && Math.min(share, 1 - share) < LEAST_MINORITY;
}

export function medianMisfit({ answers }: Pick<FitResult, 'answers'>): number {
  const each = answers.map((answer) => answer.chi2 / Math.max(answer.pixels - 4, 1)).sort((a, b) => a - b);
  return each[each.length >> 1] ?? NaN;
}

export const withGroups = (shape: ModelShape, groups: Iterable<Group>): ModelShape => ({
  path: shape.path,
  groups: new Set(groups),
});
