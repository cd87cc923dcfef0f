/** The compiled pixel kernels, as base64, made by the build (see bin/kernels-plugin.ts). */
declare module 'virtual:kernels' {
  const base64: string;
  export default base64;
}
