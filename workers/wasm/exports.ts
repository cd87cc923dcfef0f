/** What the compiled kernels export. Addresses are bytes in `memory`; each kernel's own file documents it. */
export interface KernelExports {
  memory: WebAssembly.Memory;
  /** First address that the kernels leave free. */
  heapBase(): number;

  // kernels/decode.ts
  decodeI16(source: number, target: number, count: number): void;
}
