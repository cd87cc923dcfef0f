import type { FocusFit } from './focus-fit.ts';
import { hfdAt, P, type FocusModel } from './focus-model.ts';
import { momentSurface, SURFACE } from './focus-moments.ts';
import type { FocusSamples } from './focus-samples.ts';

/**
 * Coma and astigmatism together move the corner's smallest star, which looks like curvature: by this part of the depth in
 * which a star in focus doubles, times the fourth power of the corner's sagittal coma in px (2 to 30 µm on rendered f/4 and
 * f/5 mirrors). Allowed for: in curvature three times as much (a corner's sag is half of it, and a margin), in tilt less than
 * half, in the centre's focus a seventh.
 */
const COMA_SHIFT = 0.001;
const CURVATURE_SHARE = 3;
const TILT_SHARE = 0.4;
const FOCUS_SHARE = 0.15;
/** Error of a surface by moments in proportion to it: light lost beyond the circle. Rendered runs: 2 to 8 %. */
const MOMENTS_RELATIVE = 0.08;

/**
 * Tilt and curvature from both measures of the stars, each weighted by its error: half-flux diameters, sharp but moved by a
 * mirror's coma, and second moments, noisier but not moved. The errors hold what coma does to the diameters, so that a
 * corrected telescope is measured by its diameters and a bare mirror's curvature by its moments.
 */
export function settleSurface(model: FocusModel, fit: FocusFit, samples: FocusSamples): FocusFit {
  const theta = Float64Array.from(fit.theta);
  const covariance = Float64Array.from(fit.covariance);
  const n = theta.length;
  const depth = hfdAt(model, theta, theta[P.focus], 0, 0) / (model.law.slope * Math.exp(theta[P.lnScale]));
  // Coma and astigmatism both grow outwards: what they do together grows with the fourth power.
  const shift = COMA_SHIFT * depth * theta[P.comaField] ** 4;
  const moments = momentSurface(model, theta, samples);
  const tilt = moments ? Math.hypot(moments.value[P.tiltX], moments.value[P.tiltY]) : 0;
  for (const k of [P.focus, P.tiltX, P.tiltY, P.curvature]) {
    const own = covariance[k * n + k];
    const share = k === P.focus ? FOCUS_SHARE : k === P.curvature ? CURVATURE_SHARE : TILT_SHARE;
    let variance = own + (share * shift) ** 2;
    // Near the centre diameters are hardly misled and far sharper: the focus stays theirs.
    if (moments && k !== P.focus) {
      const size = k === P.curvature ? moments.value[k] : tilt;
      const other = moments.covariance[k * SURFACE + k] + (MOMENTS_RELATIVE * size) ** 2;
      theta[k] += (variance / (variance + other)) * (moments.value[k] - theta[k]);
      variance *= other / (variance + other);
    }
    const factor = Math.sqrt(variance / own);
    for (let l = 0; l < n; l++) {
      covariance[k * n + l] *= factor;
      covariance[l * n + k] *= factor;
    }
  }
  return { ...fit, theta, covariance };
}
