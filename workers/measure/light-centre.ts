import { robustRegression } from '../math/regression.ts';
import { commonScatter } from '../math/robust.ts';
import type { Growth } from './growth.ts';
import type { PixelNoise, Profile } from './profile.ts';

/** A light's centre off its profile's, px, and the variance of each component by the pixels' noise. */
export interface CentreShift {
  dx: number;
  dy: number;
  variance: number;
}

interface Place {
  xPx: number;
  yPx: number;
}

/** Half-flux diameters do not change noticeably by a smaller shift, in units of themselves. */
const LEAST_SHIFT = 0.025;
const FEWEST_STARS = 10;

/** From the residual light's dipole within `reachPx`; null where no pixels are seen. */
export function centreShift(
  { dipole, seenShare, flux, hfdPx }: Growth,
  reachPx: number,
  { skyVariance, unitsPerElectron }: PixelNoise,
): CentreShift | null {
  const scale = 1 / (flux * seenShare);
  if (!(scale > 0 && scale < Infinity)) return null;
  // Of the sky over a disc, int x² = pi r⁴ / 4; of the star's own light, its second moment.
  const rms2 = hfdPx ** 2 / (8 * Math.LN2);
  const sum = (skyVariance * Math.PI * reachPx ** 4) / 4 + unitsPerElectron * flux * rms2;
  return { dx: dipole[0] * scale, dy: dipole[1] * scale, variance: sum * seenShare * scale ** 2 };
}

/**
 * How far the centres of a frame's stars lie off those of their profiles: a comet's profile sits on its head. A line
 * in x and y, for coma grows so from its axis, and how far single stars lie from it; both from bright stars.
 */
export class ShiftField {
  private readonly x: Float64Array | null;
  private readonly y: Float64Array | null;
  /** Variance of single stars about the line, px². */
  private readonly scatter: number;

  constructor(stars: (Place & { shift: CentreShift })[]) {
    const rows = Float64Array.from(stars.flatMap(({ xPx, yPx }) => [1, xPx, yPx]));
    const fit = (pick: (shift: CentreShift) => number) =>
      robustRegression(
        rows,
        Float64Array.from(stars, ({ shift }) => pick(shift)),
        3,
      )?.coefficients ?? null;
    const enough = stars.length >= FEWEST_STARS;
    this.x = enough ? fit(({ dx }) => dx) : null;
    this.y = enough ? fit(({ dy }) => dy) : null;
    const off = stars.flatMap(({ shift, ...place }) => {
      const [dx, dy] = this.usual(place);
      return [shift.dx - dx, shift.dy - dy];
    });
    const own = stars.flatMap(({ shift }) => [shift.variance, shift.variance]);
    this.scatter = enough ? commonScatter(off, own, 0, Math.max(1, off.length - 6)) : 0;
  }

  /**
   * The profile moved to the centre of its star's light; null where both are one. Faint stars follow the bright ones.
   * `trust`: 0 to 1, how much of the way.
   */
  centred(profile: Profile, place: Place, shift: CentreShift, hfdPx: number, trust: number): Profile | null {
    const [usualX, usualY] = this.usual(place);
    const share = this.scatter > 0 ? this.scatter / (this.scatter + shift.variance) : 0;
    const dx = trust * (usualX + share * (shift.dx - usualX));
    const dy = trust * (usualY + share * (shift.dy - usualY));
    if (!(Math.hypot(dx, dy) > LEAST_SHIFT * hfdPx)) return null;
    return { ...profile, dx: profile.dx + dx, dy: profile.dy + dy };
  }

  private usual({ xPx, yPx }: Place): [number, number] {
    const at = (line: Float64Array | null) => (line ? line[0] + line[1] * xPx + line[2] * yPx : 0);
    return [at(this.x), at(this.y)];
  }
}
