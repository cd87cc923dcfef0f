import { median } from '../math/robust.ts';

/**
 * Light and squared residual of pixels of bright stars, from which the frame tells its own gain: photon noise makes
 * the variance grow with the light, by one unit per electron.
 */
export class NoiseSamples {
  private readonly light: number[] = [];
  private readonly squares: number[] = [];

  /** Light above the sky and the residual against the star's profile, stored units; the sky's variance there. */
  add(light: number, residual: number, skyVariance: number): void {
    const excess = light / Math.sqrt(skyVariance);
    // Fainter pixels say nothing of photon noise; the brightest say more of the profile's misfit.
    if (excess < 3) return;
    this.light.push(light);
    this.squares.push(residual ** 2 - skyVariance * SKY_MEDIAN);
  }

  /**
   * Stored units per electron: the median over pixels sorted by light of (median squared residual - sky) / light,
   * in ten groups, smallest third, since misfit only adds. Null when there are too few pixels or no photon noise.
   */
  unitsPerElectron(): number | null {
    if (this.light.length < MIN_SAMPLES) return null;
    const order = this.light.map((_, i) => i).sort((a, b) => this.light[a] - this.light[b]);
    const slopes: number[] = [];
    for (let group = 0; group < GROUPS; group++) {
      const members = order.slice(
        Math.floor((group * order.length) / GROUPS),
        Math.floor(((group + 1) * order.length) / GROUPS),
      );
      const light = median(members.map((i) => this.light[i]));
      slopes.push(median(members.map((i) => this.squares[i])) / SKY_MEDIAN / light);
    }
    slopes.sort((a, b) => a - b);
    const slope = slopes[Math.floor(GROUPS / 3)];
    return slope > 0 ? slope : null;
  }
}

const MIN_SAMPLES = 200;
const GROUPS = 10;
/** Median of chi² with one degree of freedom: a squared Gaussian residual's median over its mean. */
const SKY_MEDIAN = 0.4549364;
