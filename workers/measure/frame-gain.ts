import type { Moments } from '../math/shape.ts';
import type { Field } from './field.ts';
import { joinEvidence, priorOf, type GainBelief } from './gain-belief.ts';
import { profileLeverages } from './leverage.ts';
import { skyLikelihood } from './sky-noise.ts';
import { fitTarget, type Target } from './star.ts';
import { StarNoise, type LitPixel } from './star-noise.ts';
import type { WingForm } from './wing-form.ts';
import type { Workspace } from './workspace.ts';

/** Stars for the gain: middling ones, in which photons outweigh the profile's misfit, and bright ones, which tell that. */
const MIDDLING = { least: 10, best: 50, most: 120 };
const BRIGHT = { least: 100, best: 200, most: 40 };
/** The fits weigh pixels by the gain that they are to tell. */
const ROUNDS = 3;
/** A pixel that its own fit follows this closely says nothing of its noise. */
const MOST_LEVERAGE = 0.6;
/** Largest value of pictures of 8 bit. */
const EIGHT_BIT = 255;

/**
 * The gain of a frame whose file does not tell it: from the sky, whose noise grows with its level; from the stars, where it
 * grows with their light; and, where neither says much, from what cameras are like.
 */
export function frameGain(
  space: Workspace,
  field: Field,
  shape: Moments,
  radiusPx: number,
  form: WingForm,
  zeroStored: number,
): GainBelief {
  const { level, sigma, quantum } = field.sky();
  const prior = priorOf({
    variance: sigma ** 2,
    level: level - zeroStored,
    quantum,
    converter: space.plane.saturationStored > EIGHT_BIT,
  });
  const sky = skyLikelihood(prior.grid, field.skyGroups(space.kernels));
  const targets = chosenStars(field);
  let belief = joinEvidence(prior, [sky]);
  for (let round = 0; round < ROUNDS; round++) {
    const stars = new StarNoise(belief.unitsPerElectron);
    for (const target of targets) {
      const skyVariance = target.sigma ** 2;
      const noise = { skyVariance, unitsPerElectron: belief.unitsPerElectron };
      const { profile, gathered } = fitTarget(space, target, { shape }, form, radiusPx, noise);
      if (!profile || gathered.saturated > 0) continue;
      const leverages = profileLeverages(space, gathered.count);
      const { rest, value, weight } = space.view;
      const pixels: LitPixel[] = [];
      for (let i = 0; i < gathered.count; i++) {
        if (!(weight[i] > 0) || leverages[i] > MOST_LEVERAGE) continue;
        const light = value[i] - rest[i] - profile.base;
        const square = rest[i] ** 2 / (1 - leverages[i]);
        pixels.push({ light, heightShare: light / profile.amplitude, square });
      }
      stars.addStar(pixels, skyVariance);
    }
    belief = joinEvidence(prior, [sky, stars.logLikelihood(prior)]);
  }
  return belief;
}

function chosenStars(field: Field): Target[] {
  const middling = field.starsNear(MIDDLING, MIDDLING.most);
  const places = new Set(middling.map(({ xPx, yPx }) => `${xPx} ${yPx}`));
  const bright = field.starsNear(BRIGHT, BRIGHT.most);
  return [...middling, ...bright.filter(({ xPx, yPx }) => !places.has(`${xPx} ${yPx}`))];
}
