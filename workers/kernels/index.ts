// The compiled kernels: everything that touches every pixel. One file per idea; each takes addresses in linear
// memory, allocates nothing, and accumulates in f64. `workers/wasm/exports.ts` holds the matching types.
export * from './decode';

/** First address that the kernels leave free. */
export function heapBase(): usize {
  return __heap_base;
}
