/** What the wave-optical model needs to know of the telescope and the camera. */
export interface Optics {
  focalRatio: number;
  pixelUm: number;
  /** Linear central obstruction, 0 to 1. */
  obstruction: number;
  /** Effective wavelength: three wavelengths instead of one change the fitted tilt by less than 0.1 %. */
  wavelengthUm: number;
  /** Red minus blue light of each star, where it spreads the fitted green noticeably; see colour-spread.ts. */
  colourShiftPx?: { x: number; y: number };
}

export const EFFECTIVE_WAVELENGTH_UM = 0.555;

/** Period of the finest fringe that the pupil can make in the focal plane, in pixels: lambda F / pixel. */
export const fringePx = (optics: Optics): number =>
  (optics.wavelengthUm * optics.focalRatio) / optics.pixelUm;

/**
 * Means over the annulus of the squared pupil radius and of its powers (t = rho^2 is uniform on [eps^2, 1]).
 */
export const annulusMeans = (obstruction: number) => {
  const e2 = obstruction * obstruction;
  return { rho2: (1 + e2) / 2, rho4: (1 + e2 + e2 * e2) / 3, rho6: (1 + e2 + e2 * e2 + e2 ** 3) / 4 };
};

/**
 * Full width at half maximum of the diffraction pattern of an annular pupil, in units of lambda / D.
 * A least-squares quadratic in eps^2 through the tabulated widths of [2 J1(v)/v - eps^2 2 J1(eps v)/(eps v)]^2; right to 0.0003 up
 * to eps = 0.5.
 */
export const diffractionFwhm = (obstruction: number): number => {
  const e2 = obstruction * obstruction;
  return 1.029 - 0.56645 * e2 + 0.39057 * e2 * e2;
};
