import type { FieldFit } from '../../workers/fit/field-fit.ts';
import { P, PARAMETER_COUNT } from '../../workers/fit/parameters.ts';
import type { Group, ParameterName, PathKind } from '../../workers/fit/parameters.ts';

/** A fit as it would come from a frame, with what matters to a rule said and the rest ordinary. */
export function fitOf(
  values: Partial<Record<ParameterName, number>>,
  groups: Group[],
  changes: Partial<FieldFit> = {},
): FieldFit {
  const theta = new Array<number>(PARAMETER_COUNT).fill(0);
  const covariance = new Array<number>(PARAMETER_COUNT ** 2).fill(0);
  theta[P.lnBlur] = Math.log(2.4);
  for (const [name, value] of Object.entries(values)) theta[P[name as ParameterName]] = value;
  for (let i = 0; i < PARAMETER_COUNT; i++) covariance[i * PARAMETER_COUNT + i] = 0.02 ** 2;
  return {
    optics: { focalRatio: 5, pixelUm: 3.8, obstruction: 0.3, wavelengthUm: 0.555 },
    known: { focalRatio: true, pixelSize: true, obstruction: 'given' },
    focalLengthMm: 600,
    widthPx: 1200,
    heightPx: 800,
    groups,
    path: (groups.includes('motion') || groups.includes('rotation') ? 'straight' : 'none') as PathKind,
    theta,
    focusSignKnown: false,
    covariance,
    droppedSigma: new Array<number>(PARAMETER_COUNT).fill(0),
    chi2PerDof: 1,
    stars: 50,
    rejected: 0,
    coherence: 0,
    commonMisfit: 0,
    dispersionPx: null,
    rivals: [{ groups: ['focus'], path: 'none', theta, gap: 5000, atLeast: true }],
    cornerFwhmPx: 4,
    centreFwhmPx: 3,
    cornerFwhmWithoutPx: {},
    effort: { jacobians: 0, values: 0 },
    warnings: [],
    ...changes,
  };
}
