import { roundTransfer } from './atmosphere.ts';
import { FFT_LENGTHS } from './fft.ts';
import { samplePupil, type Pupil } from './pupil.ts';
import type { Scene } from './scene.ts';
import { createWorkspace, type Workspace } from './transfer.ts';

/** All that pictures of one size have in common: grid, pupils and air, made once for each size that a scene needs. */
export interface Lattice {
  /** Period of the picture; frequencies are multiples of 1 / windowUm. */
  windowUm: number;
  /** Highest multiple that still carries light through optics and air. */
  kMax: number;
  workspace: Workspace;
  /** Per wavelength: the pupil as sampled for this window, and the round transfer by kx^2 + ky^2. */
  pupils: Pupil[];
  round: Float64Array[];
  /** Transfer of the square pixel along one axis, by k. */
  pixel: Float64Array;
}

/** Where a factor of the transfer counts as nothing. */
const DARK = 1e-6;

/** `largestWindowUm`: no larger picture can be made; a larger need gets this one. */
export function createLattices(scene: Scene): {
  latticeFor(needUm: number): Lattice;
  largestWindowUm: number;
} {
  const lattices = new Map<number, Lattice>();
  const shortest = Math.min(...scene.spectrum.map((sample) => sample.wavelengthUm));
  // The shortest wavelength has most samples across the pupil: n / 2 less a margin for the pupil's centring.
  const windowOf = (n: number) => shortest * scene.rig.focalRatio * (n / 2 - 2);
  const latticeFor = (needUm: number) => {
    const n = FFT_LENGTHS.find((length) => windowOf(length) >= needUm) ?? FFT_LENGTHS.at(-1)!;
    let lattice = lattices.get(n);
    if (!lattice) lattices.set(n, (lattice = createLattice(scene, n, windowOf(n))));
    return lattice;
  };
  return { latticeFor, largestWindowUm: windowOf(FFT_LENGTHS.at(-1)!) };
}

function createLattice(scene: Scene, n: number, windowUm: number): Lattice {
  const { rig, sky, spectrum } = scene;
  const airs = spectrum.map(({ wavelengthUm }) => roundTransfer(sky, rig, wavelengthUm));
  let kMax = 1;
  while (kMax < n / 2 - 2 && airs.some((air) => air(kMax / windowUm) > DARK)) kMax++;
  const pixel = new Float64Array(kMax + 1);
  for (let k = 0; k <= kMax; k++) {
    const angle = (Math.PI * k * rig.pixelSizeUm) / windowUm;
    pixel[k] = k === 0 ? 1 : Math.sin(angle) / angle;
  }
  return {
    windowUm,
    kMax,
    workspace: createWorkspace(n),
    pupils: spectrum.map(({ wavelengthUm }) => samplePupil(rig, windowUm / (wavelengthUm * rig.focalRatio))),
    round: airs.map((air) => {
      const table = new Float64Array(2 * kMax * kMax + 1);
      for (let k2 = 0; k2 < table.length; k2++) table[k2] = air(Math.sqrt(k2) / windowUm);
      return table;
    }),
    pixel,
  };
}
