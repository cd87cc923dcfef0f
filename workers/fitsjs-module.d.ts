/** The part of the fitsjs library that is used, as a module made by the build (see bin/fitsjs-plugin.ts). */
declare module 'virtual:fitsjs' {
  const astro: { FITS: { CompressedImage: { randomSequence: Float32Array } } };
  export default astro;
}
