import { REMOVABLE_PARTS, type ModelPlace, type Place, type RemovablePart } from '../protocol/model.ts';
import { drawnWithout, fieldPlace, sameGroups } from './drawn-field.ts';
import type { FieldFit } from './field-fit.ts';
import { LOCAL, P, PARAMETER_COUNT, localBasis, localValues } from './parameters.ts';
import { pathSpread } from './path.ts';
import { micrometresPerPixel } from './wavefront.ts';

/** Focus, motion, coma and astigmatism of the fitted field at some places; of one part alone where asked. */
export function modelPlaces(fit: FieldFit, places: Place[], only: RemovablePart | null = null): ModelPlace[] {
  const { theta } = drawnWithout(
    fit,
    only ? REMOVABLE_PARTS.filter((part) => !sameGroups(part, only, fit)) : [],
  );
  const um = micrometresPerPixel('defocus', fit.optics);
  const told = fit.known.focalRatio && fit.known.pixelSize;
  const { extent } = pathSpread(fit.path, theta[P.path1], theta[P.path2]);
  return places.map((place) => {
    const { xi, eta } = fieldPlace(fit, place);
    const basis = localBasis(xi, eta);
    const local = localValues(basis, theta);
    const row = basis.subarray(LOCAL.defocus * PARAMETER_COUNT, (LOCAL.defocus + 1) * PARAMETER_COUNT);
    let variance = 0;
    for (let a = 0; a < PARAMETER_COUNT; a++) {
      if (row[a] === 0) continue;
      for (let b = 0; b < PARAMETER_COUNT; b++)
        variance += row[a] * row[b] * fit.covariance[a * PARAMETER_COUNT + b];
    }
    return {
      ...place,
      defocusUm: told
        ? { value: um * local[LOCAL.defocus], sigma: um * Math.sqrt(Math.max(variance, 0)) }
        : null,
      motionXPx: extent * local[LOCAL.motionX],
      motionYPx: extent * local[LOCAL.motionY],
      comaXPx: local[LOCAL.comaX],
      comaYPx: local[LOCAL.comaY],
      astigmatism0Px: local[LOCAL.astigmatism0],
      astigmatism45Px: local[LOCAL.astigmatism45],
    };
  });
}
