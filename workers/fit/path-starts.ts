import { P, PARAMETER_COUNT } from './parameters.ts';
import type { Group } from './parameters.ts';
import type { MomentField } from './moment-fit.ts';
import { SEARCH_GROUPS, glance } from './starts.ts';
import type { Start } from './starts.ts';

const median = (values: number[]): number => [...values].sort((a, b) => a - b)[values.length >> 1] ?? NaN;

/**
 * Starts for a jump or a swing, with clean optics but for a little defocus and the field's coma. The lengths follow
 * from the excess variance v along the common elongation and the skewness there: for two places of shares q and 1 - q
 * a distance L apart v = q (1 - q) L^2 and the third moment is v L (1 - 2q).
 */
export function pathStarts(field: MomentField, kind: 'jump' | 'swing', straight: Float64Array): Start[] {
  const { blurPx, qx, qy } = glance(field);
  const angle = Math.atan2(qy, qx) / 2;
  const v = Math.max(Math.hypot(qx, qy), 0.05);
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  const stars = Array.from({ length: field.xi.length }, (_, star) => star);
  // Third moment along the axis: (3 Re(K1 e^-ia) + Re(K3 e^-3ia)) / 4.
  const skew = median(
    stars.map((star) => {
      const m = field.moments.subarray(7 * star, 7 * star + 7);
      return (3 * (m[3] * c + m[4] * s) + m[5] * Math.cos(3 * angle) + m[6] * Math.sin(3 * angle)) / 4;
    }),
  );
  const groups = new Set<Group>([...SEARCH_GROUPS, 'motion', 'rotation']);
  const shape = { groups, path: kind };
  const clean = () => {
    const theta = new Float64Array(PARAMETER_COUNT);
    theta[P.lnBlur] = Math.log(blurPx);
    for (const name of ['focus', 'tiltX', 'tiltY', 'curvature'] as const)
      theta[P[name]] = 0.5 * straight[P[name]];
    theta[P.focus] += 0.15;
    theta[P.comaField] = 0.5 * straight[P.comaField];
    return theta;
  };
  const starts: Start[] = [];
  if (kind === 'jump') {
    const kappa = skew / v ** 1.5;
    // Skewness kappa = (1 - 2q) / sqrt(q (1 - q)) of the first place's share; the image moves from -L to +L.
    const q0 = 0.5 + kappa / (2 * Math.sqrt(4 + kappa * kappa));
    for (const q of [q0, 1 - q0])
      for (const stretch of [0.8, 1.15, 1.6]) {
        const share = Math.min(0.92, Math.max(0.08, q));
        const length = stretch * Math.sqrt(v / (share * (1 - share)));
        const theta = clean();
        theta[P.motionX] = length * c;
        theta[P.motionY] = length * s;
        theta[P.path1] = Math.log(share / (1 - share));
        starts.push({ theta, shape, why: 'jump' });
      }
    return starts;
  }
  const length = Math.sqrt(2 * v);
  for (let k = 0; k < 8; k++) {
    const theta = clean();
    theta[P.motionX] = 1.2 * length * c;
    theta[P.motionY] = 1.2 * length * s;
    theta[P.path1] = (k * Math.PI) / 4;
    theta[P.path2] = Math.log(1.28);
    starts.push({ theta, shape, why: 'swing' });
  }
  return starts;
}
