/** Gets the compiled pixel kernels (see bin/kernels-plugin.ts). */
declare module 'virtual:kernels' {
  const binary: () => Promise<BufferSource>;
  export default binary;
}
