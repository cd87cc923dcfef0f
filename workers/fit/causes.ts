import type { BudgetPart, Cause } from '../protocol/report.ts';
import type { Group } from './parameters.ts';

/** A cause as the model knows it: the budget's parts that are its, and the parameter groups that make it. */
export interface ModelCause {
  key:
    | 'focus'
    | 'tilt'
    | 'curvature'
    | 'coma'
    | 'astigmatism'
    | 'pinching'
    | 'spherical'
    | 'motion'
    | 'dispersion';
  parts: BudgetPart[];
  groups: Group[];
}

/**
 * Causes that compete for the verdict. Coma that grows with the field and coma that is the same everywhere are one
 * cause with two names, and so are a drift and a turn: which name it is follows from where its node lies.
 */
export const MODEL_CAUSES: readonly ModelCause[] = [
  { key: 'focus', parts: ['focus'], groups: ['focus'] },
  { key: 'tilt', parts: ['tilt'], groups: ['tilt'] },
  { key: 'curvature', parts: ['curvature'], groups: ['curvature'] },
  { key: 'coma', parts: ['coma', 'collimation'], groups: ['comaConstant', 'comaField'] },
  {
    key: 'astigmatism',
    parts: ['astigmatism'],
    groups: ['astigmatism', 'astigmatismField', 'astigmatismLinear'],
  },
  { key: 'pinching', parts: ['pinching'], groups: ['trefoil'] },
  { key: 'spherical', parts: ['spherical'], groups: ['spherical'] },
  { key: 'motion', parts: ['trailing', 'rotation'], groups: ['motion', 'rotation', 'path'] },
  { key: 'dispersion', parts: ['dispersion'], groups: [] },
];

export const FAMILY: Record<Cause, 'optics' | 'focus' | 'tracking' | 'sky' | 'none'> = {
  coma: 'optics',
  collimation: 'optics',
  tilt: 'optics',
  curvature: 'optics',
  astigmatism: 'optics',
  pinching: 'optics',
  spherical: 'optics',
  focus: 'focus',
  trailing: 'tracking',
  rotation: 'tracking',
  seeing: 'sky',
  dispersion: 'sky',
  clean: 'none',
};
