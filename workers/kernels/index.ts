// The compiled kernels: everything that touches every pixel. One file per idea; each takes addresses in linear
// memory, allocates nothing, and accumulates in f64. `workers/wasm/exports.ts` holds the matching types.
export * from './decode';
export { meshU16, meshF32, quantumU16 } from './mesh';
export { detectU16, detectF32 } from './detect';
export { binU16, binF32 } from './bin';
export { gatherU16, gatherF32, adaptiveMoments } from './stamp';
export { fitProfile } from './fit';
export { subtractProfile, lightWithin } from './profile';
export { packResiduals, layResiduals, layRest, residualNoise } from './mean-residual';
export { layStarU16, layStarF32 } from './mean-picture';
export { residualRings, halfLightRadius } from './growth';
export { psfTransfers, psfImage } from './psf';

/** First address that the kernels leave free. */
export function heapBase(): usize {
  return __heap_base;
}
