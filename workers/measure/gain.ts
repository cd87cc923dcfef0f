import { median } from '../math/robust.ts';

/**
 * Light and squared residual of pixels of bright stars, from which the frame tells its own gain: photon noise makes
 * the variance grow with the light, by one unit per electron.
 */
export class NoiseSamples {
  private readonly light: number[] = [];
  private readonly squares: number[] = [];
  private readonly sky: number[] = [];

  /**
   * One star's pixels: light above the sky by its fitted profile and residual, stored units; the sky's variance there.
   * Fainter pixels say nothing of photon noise. The fit took some of the scatter of the others away: six parameters
   * live on them.
   */
  addStar(pixels: { light: number; residual: number }[], skyVariance: number): void {
    const lit = pixels.filter(({ light }) => light > LEAST_LIGHT * Math.sqrt(skyVariance));
    if (lit.length < 2 * SHAPE_PARAMETERS) return;
    const freedom = lit.length / (lit.length - SHAPE_PARAMETERS);
    for (const { light, residual } of lit) {
      this.light.push(light);
      this.squares.push(residual ** 2 * freedom);
      this.sky.push(skyVariance);
    }
  }

  /**
   * Stored units per electron: u in variance = sky + u light + (m light)², where m stands for the profile's misfit.
   * Pixels are sorted by light into groups; each gives a median squared residual, which no cosmic ray moves; u and m²
   * follow by weighted least squares with neither below zero. The sky bounds u: were its noise all photon noise and no
   * offset under it, u would be variance / level, and it cannot be less; nor can the sky be less than one electron or its
   * noise more than a few hundred. With too few pixels the lower bound is all that is known.
   */
  unitsPerElectron({ skyVariance, skyLevel }: { skyVariance: number; skyLevel: number }): number {
    const sigma = Math.sqrt(skyVariance);
    const least = skyLevel > 0 ? skyVariance / skyLevel : 0;
    return Math.min(Math.max(this.slope() ?? 0, least, sigma / MOST_NOISE_ELECTRONS), sigma);
  }

  private slope(): number | null {
    if (this.light.length < MIN_SAMPLES) return null;
    const order = this.light.map((_, i) => i).sort((a, b) => this.light[a] - this.light[b]);
    // Normal equations of (light, light²) against the excess variance, relative errors equal within a group.
    const sums = { uu: 0, um: 0, mm: 0, uv: 0, mv: 0 };
    for (let group = 0; group < GROUPS; group++) {
      const from = Math.floor((group * order.length) / GROUPS);
      const members = order.slice(from, Math.floor(((group + 1) * order.length) / GROUPS));
      const light = median(members.map((i) => this.light[i]));
      const sky = median(members.map((i) => this.sky[i]));
      const variance = median(members.map((i) => this.squares[i])) / CHI2_MEDIAN;
      const weight = members.length / variance ** 2;
      sums.uu += weight * light ** 2;
      sums.um += weight * light ** 3;
      sums.mm += weight * light ** 4;
      sums.uv += weight * light * (variance - sky);
      sums.mv += weight * light ** 2 * (variance - sky);
    }
    const { uu, um, mm, uv, mv } = sums;
    const misfit = (uu * mv - um * uv) / (uu * mm - um * um);
    const slope = misfit > 0 ? (mm * uv - um * mv) / (uu * mm - um * um) : uv / uu;
    return slope > 0 ? slope : null;
  }
}

/** A well of 100 000 electrons full of sky has a noise of 316. */
const MOST_NOISE_ELECTRONS = 316;
const LEAST_LIGHT = 1.5;
const SHAPE_PARAMETERS = 6;
const MIN_SAMPLES = 100;
const GROUPS = 12;
/** Median of chi² with one degree of freedom: a squared Gaussian residual's median over its mean. */
const CHI2_MEDIAN = 0.4549364;
