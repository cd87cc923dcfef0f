import type { MeanStar } from './mean-star.ts';
import { P, PARAMETER_COUNT } from './parameters.ts';
import type { Group } from './parameters.ts';
import { FWHM_PER_SIGMA } from './spot-moments.ts';
import { SEARCH_GROUPS } from './starts.ts';
import type { Start } from './starts.ts';

const STRETCHES = [0.85, 1.1, 1.5];
const SWING_PHASES = 8;

/**
 * Starts for a jump or a swing, with clean optics but for a little of what the straight model found. The lengths
 * follow from the excess variance v along the mean star's long axis and the skewness there: for two places of shares
 * q and 1 - q a distance L apart v = q (1 - q) L^2 and the skewness is (1 - 2q) / sqrt(q (1 - q)).
 */
export function pathStarts(star: MeanStar, kind: 'jump' | 'swing', straight: Float64Array): Start[] {
  const c = Math.cos(star.angleRad);
  const s = Math.sin(star.angleRad);
  const v = Math.max(star.excess, 0.05);
  const groups = new Set<Group>([...SEARCH_GROUPS, 'motion', 'rotation']);
  const shape = { groups, path: kind };
  const clean = () => {
    const theta = new Float64Array(PARAMETER_COUNT);
    theta[P.lnBlur] = Math.log(FWHM_PER_SIGMA * Math.sqrt(Math.max(star.across - 1 / 12, 0.15)));
    for (const name of ['focus', 'tiltX', 'tiltY', 'curvature'] as const)
      theta[P[name]] = 0.4 * straight[P[name]];
    theta[P.focus] += 0.15;
    theta[P.comaField] = 0.5 * straight[P.comaField];
    return theta;
  };
  const start = (length: number, path1: number, path2: number): Start => {
    const theta = clean();
    theta[P.motionX] = length * c;
    theta[P.motionY] = length * s;
    theta[P.path1] = path1;
    theta[P.path2] = path2;
    return { theta, shape, why: kind, shift: [star.dxPx, star.dyPx] };
  };
  if (kind === 'jump') {
    const kappa = star.skew / v ** 1.5;
    // The first place lies at the minus end of d, so a tail towards plus means that it holds the larger share.
    const larger = 0.5 + kappa / (2 * Math.sqrt(4 + kappa * kappa));
    return [larger, 1 - larger].flatMap((q) => {
      const share = Math.min(0.92, Math.max(0.08, q));
      return STRETCHES.map((stretch) =>
        start(stretch * Math.sqrt(v / (share * (1 - share))), Math.log(share / (1 - share)), 0),
      );
    });
  }
  return Array.from({ length: SWING_PHASES }, (_, k) =>
    start(1.2 * Math.sqrt(2 * v), (2 * Math.PI * k) / SWING_PHASES, Math.log(1.28)),
  );
}
