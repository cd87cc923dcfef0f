import { COLOUR_SPREAD } from './colour-spread.ts';
import { TERMS } from './wavefront.ts';

/** What one star's image depends on: the wavefront's terms, the round blur, the star's own share of the motion. */
const LEG_NAMES = ['leg1X', 'leg1Y', 'leg2X', 'leg2Y', 'leg3X', 'leg3Y', 'leg4X', 'leg4Y'] as const;
export const LOCALS = [
  ...TERMS,
  'lnBlur',
  'core',
  'colourSpread',
  'motionX',
  'motionY',
  'path1',
  'path2',
  ...LEG_NAMES,
] as const;
export type Local = (typeof LOCALS)[number];
export const LOCAL = Object.fromEntries(LOCALS.map((name, index) => [name, index])) as Record<Local, number>;

/** Kinds of path that the image takes during the exposure; 'none' has no motion parameters, 'free' has its own. */
export type PathKind = 'none' | 'straight' | 'jump' | 'swing' | 'free';

interface FieldParameter {
  name: string;
  /** Weak prior about 0 (lnBlur: about the start), in the parameter's own unit. */
  priorSigma: number;
  /** How each local value depends on it; (xi, eta) = position from the sensor's centre over the half-diagonal. */
  acts: Partial<Record<Local, (xi: number, eta: number) => number>>;
}

const one = () => 1;
const xi = (x: number) => x;
const eta = (_: number, y: number) => y;
const minusEta = (_: number, y: number) => -y;

/**
 * The parameters of the whole field, all amplitudes in pixels of geometric blur at the corner radius.
 * Low-order polynomials of the field as in nodal aberration theory: defocus with tilt and curvature; coma constant
 * and linear; astigmatism constant, linear and quadratic, the last two as powers of the complex field position.
 */
export const FIELD_PARAMETERS = [
  { name: 'focus', priorSigma: 12, acts: { defocus: one } },
  { name: 'tiltX', priorSigma: 12, acts: { defocus: xi } },
  { name: 'tiltY', priorSigma: 12, acts: { defocus: eta } },
  { name: 'curvature', priorSigma: 12, acts: { defocus: (x, y) => x * x + y * y } },
  { name: 'comaX', priorSigma: 6, acts: { comaX: one } },
  { name: 'comaY', priorSigma: 6, acts: { comaY: one } },
  { name: 'comaField', priorSigma: 6, acts: { comaX: xi, comaY: eta } },
  { name: 'astigmatism0', priorSigma: 6, acts: { astigmatism0: one } },
  { name: 'astigmatism45', priorSigma: 6, acts: { astigmatism45: one } },
  { name: 'astigmatismLinearX', priorSigma: 3, acts: { astigmatism0: xi, astigmatism45: eta } },
  { name: 'astigmatismLinearY', priorSigma: 3, acts: { astigmatism0: minusEta, astigmatism45: xi } },
  {
    name: 'astigmatismField',
    priorSigma: 3,
    acts: { astigmatism0: (x, y) => x * x - y * y, astigmatism45: (x, y) => 2 * x * y },
  },
  { name: 'trefoil0', priorSigma: 4, acts: { trefoil0: one } },
  { name: 'trefoil1', priorSigma: 4, acts: { trefoil1: one } },
  { name: 'spherical', priorSigma: 2, acts: { spherical: one } },
  { name: 'lnBlur', priorSigma: 2, acts: { lnBlur: one } },
  { name: 'core', priorSigma: 0.3, acts: { core: one } },
  // Bounded below by zero, about the usual filter's.
  { name: 'colourSpread', priorSigma: COLOUR_SPREAD.sigma, acts: { colourSpread: one } },
  { name: 'motionX', priorSigma: 12, acts: { motionX: one } },
  { name: 'motionY', priorSigma: 12, acts: { motionY: one } },
  { name: 'rotation', priorSigma: 16, acts: { motionX: minusEta, motionY: xi } },
  { name: 'path1', priorSigma: 3, acts: { path1: one } },
  { name: 'path2', priorSigma: 0.6, acts: { path2: one } },
  { name: 'leg1X', priorSigma: 6, acts: { leg1X: one } },
  { name: 'leg1Y', priorSigma: 6, acts: { leg1Y: one } },
  { name: 'leg2X', priorSigma: 6, acts: { leg2X: one } },
  { name: 'leg2Y', priorSigma: 6, acts: { leg2Y: one } },
  { name: 'leg3X', priorSigma: 6, acts: { leg3X: one } },
  { name: 'leg3Y', priorSigma: 6, acts: { leg3Y: one } },
  { name: 'leg4X', priorSigma: 6, acts: { leg4X: one } },
  { name: 'leg4Y', priorSigma: 6, acts: { leg4Y: one } },
] as const satisfies FieldParameter[];

export type ParameterName = (typeof FIELD_PARAMETERS)[number]['name'];
export const PARAMETERS: readonly FieldParameter[] = FIELD_PARAMETERS;
export const P = Object.fromEntries(FIELD_PARAMETERS.map(({ name }, index) => [name, index])) as Record<
  ParameterName,
  number
>;
export const PARAMETER_COUNT = PARAMETERS.length;

/** Terms whose common sign a centro-symmetric pupil hides. */
export const EVEN_PARAMETERS: ParameterName[] = [
  'focus',
  'tiltX',
  'tiltY',
  'curvature',
  'astigmatism0',
  'astigmatism45',
  'astigmatismLinearX',
  'astigmatismLinearY',
  'astigmatismField',
  'spherical',
];

/** Groups that stand or fall together when the model is simplified. */
export const GROUPS = {
  focus: ['focus'],
  tilt: ['tiltX', 'tiltY'],
  curvature: ['curvature'],
  comaConstant: ['comaX', 'comaY'],
  comaField: ['comaField'],
  astigmatism: ['astigmatism0', 'astigmatism45'],
  astigmatismField: ['astigmatismField'],
  astigmatismLinear: ['astigmatismLinearX', 'astigmatismLinearY'],
  trefoil: ['trefoil0', 'trefoil1'],
  spherical: ['spherical'],
  core: ['core'],
  colourSpread: ['colourSpread'],
  motion: ['motionX', 'motionY'],
  rotation: ['rotation'],
  path: LEG_NAMES,
} as const satisfies Record<string, readonly ParameterName[]>;
export type Group = keyof typeof GROUPS;

/** A model: which groups are free (round blur always is) and how the image moves. */
export interface ModelShape {
  groups: ReadonlySet<Group>;
  path: PathKind;
}

/** Indices of the free parameters of a model, ascending. */
export function freeParameters({ groups, path }: ModelShape): number[] {
  const free = new Set<number>([P.lnBlur]);
  for (const group of groups)
    if (path !== 'none' || group !== 'motion') for (const name of GROUPS[group]) free.add(P[name]);
  if (path === 'jump' || path === 'swing') free.add(P.path1);
  if (path === 'swing') free.add(P.path2);
  return [...free].sort((a, b) => a - b);
}

/** Derivative of each local value with respect to each field parameter at one place: row-major [local][parameter]. */
export function localBasis(fieldXi: number, fieldEta: number): Float64Array {
  const basis = new Float64Array(LOCALS.length * PARAMETER_COUNT);
  PARAMETERS.forEach(({ acts }, parameter) => {
    for (const [local, act] of Object.entries(acts))
      basis[LOCAL[local as Local] * PARAMETER_COUNT + parameter] = act(fieldXi, fieldEta);
  });
  return basis;
}

/** Local values of one star: basis times theta. */
export function localValues(basis: Float64Array, theta: Float64Array): Float64Array {
  const values = new Float64Array(LOCALS.length);
  for (let local = 0; local < LOCALS.length; local++) {
    let sum = 0;
    for (let parameter = 0; parameter < PARAMETER_COUNT; parameter++)
      sum += basis[local * PARAMETER_COUNT + parameter] * theta[parameter];
    values[local] = sum;
  }
  return values;
}
