import { GROUPS, P } from './parameters.ts';
import type { Group } from './parameters.ts';

/** The same field without some groups of terms. */
export function removed(theta: Float64Array, groups: readonly Group[]): Float64Array {
  const out = theta.slice();
  for (const group of groups) for (const name of GROUPS[group]) out[P[name]] = 0;
  return out;
}
