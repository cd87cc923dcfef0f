import binary from 'virtual:kernels';
import { Arena } from './arena.ts';
import type { KernelExports } from './exports.ts';

/** One instance of the compiled kernels with the memory that they work in. Not shared between threads. */
export interface Kernels {
  run: KernelExports;
  arena: Arena;
}

let compiled: Promise<WebAssembly.Module> | null = null;

/** Compiles once per thread; every call makes an instance with memory of its own. */
export async function loadKernels(): Promise<Kernels> {
  compiled ??= binary().then((bytes) => WebAssembly.compile(bytes));
  const instance = await WebAssembly.instantiate(await compiled, {});
  const run = instance.exports as unknown as KernelExports;
  return { run, arena: new Arena(run.memory, run.heapBase()) };
}
