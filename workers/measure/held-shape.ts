import { width, type Moments } from '../math/shape.ts';
import { fitProfile, momentsOf, subtractProfile, type PixelNoise, type Profile } from './profile.ts';
import type { WingForm } from './wing-form.ts';
import type { Gathered, Workspace } from './workspace.ts';

/** The star's own pixels: within so many typical widths (rms) of its centre. */
const CORE_WIDTHS = 3;
const MOST_STRAY_SIGMAS = 3;
/** Stars with fewer sampling steps across their FWHM than this are undersampled (Nyquist's measure, common practice). */
const FINE_STEPS = 2;
const FWHM_PER_RMS = 2 * Math.sqrt(2 * Math.LN2);

/**
 * A faint star on coarse pixels, most of its light in one of them: nothing keeps its width from shrinking to a point, and
 * with the width goes the flux. Its shape is then held at the frame's typical one; it gets place and light, but no width
 * of its own. Null where that shape does not fit its pixels (a hot pixel, a cosmic ray), or where the star's own fit was
 * wider, or the frame's stars are well sampled: then it is not for want of pixels that its light is unknown.
 */
export function heldProfile(
  space: Workspace,
  { count, peak }: Gathered,
  place: { dx: number; dy: number },
  own: Profile | null,
  typical: Moments | null,
  form: WingForm,
  noise: PixelNoise,
): Profile | null {
  if (!typical || !(peak > 0) || (own && width(momentsOf(own)) > width(typical))) return null;
  if (FWHM_PER_RMS * width(typical) * Math.sqrt(space.siteShare) > FINE_STEPS) return null;
  const start = { amplitude: peak, dx: place.dx, dy: place.dy, shape: typical };
  const profile = fitProfile(space, count, start, form, noise, true);
  return profile && fits(space, count, profile, CORE_WIDTHS * width(typical)) ? profile : null;
}

/** Chi² of the pixels within `reachPx`, with the weights that the fit left, within three of its standard deviations. */
function fits(space: Workspace, count: number, profile: Profile, reachPx: number): boolean {
  subtractProfile(space, count, profile);
  const { x, y, weight, rest } = space.view;
  let [chi2, pixels] = [0, 0];
  for (let i = 0; i < count; i++) {
    if (!(weight[i] > 0) || (x[i] - profile.dx) ** 2 + (y[i] - profile.dy) ** 2 > reachPx ** 2) continue;
    chi2 += weight[i] * rest[i] ** 2;
    pixels++;
  }
  return pixels > 4 && chi2 < pixels + MOST_STRAY_SIGMAS * Math.sqrt(2 * pixels);
}
