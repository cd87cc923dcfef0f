import { dispersionUm, seeingAtArcsec } from './atmosphere.ts';
import { createLattices, type Lattice } from './lattice.ts';
import { applyPath, pathReachUm, starPath, type Segment } from './motion.ts';
import type { Channel } from './mosaic.ts';
import { toFieldMm, umPerArcsec, type Scene } from './scene.ts';
import { emptyTransfer, opticalTransfer, type Transfer } from './transfer.ts';
import { spotReachUm, wavefrontAtField } from './wavefront.ts';

/** Draws the light of single stars of a scene. Holds grids and pupils between stars: make one per scene. */
export interface Renderer {
  /**
   * Noise-free picture of a point at (xPx, yPx) of the field, integrated over pixels that lie at the given offsets
   * from it: values[j * dxPx.length + i] belongs to (dxPx[i], dyPx[j]). The offsets need not be whole or one apart.
   * One picture per channel, each of total equal to what the channel takes of a star of flux 1.
   */
  picture(xPx: number, yPx: number, dxPx: Float64Array, dyPx: Float64Array, light: Light): Float64Array[];
  /** Radius in pixels within which a star of this flux is worth drawing: beyond, it is below `faintest` per pixel. */
  reachPx(xPx: number, yPx: number, fluxElectrons: number, faintest: number, path?: Segment[]): number;
}

export interface Light {
  channels: Channel[];
  /** The path of the image; that of the scene's stars when not given. */
  path?: Segment[];
  /** Transfer of the object itself by frequency in cycles per micrometre (1 for a point): for galaxies. */
  shape?: (fx: number, fy: number) => number;
}

export function createRenderer(scene: Scene): Renderer {
  const { rig, optics, sky, spectrum, motion } = scene;
  const { latticeFor, largestWindowUm } = createLattices(scene);
  const shifts = spectrum.map(({ wavelengthUm }) => dispersionUm(sky, rig, wavelengthUm));
  const longest = Math.max(...spectrum.map((sample) => sample.wavelengthUm));
  const shiftReachUm = Math.max(...shifts.map((shift) => Math.hypot(shift.x, shift.y)));

  const wavefronts = (xPx: number, yPx: number) => {
    const at = toFieldMm(rig, xPx, yPx);
    return spectrum.map(({ focusShiftUm }) => wavefrontAtField(optics, rig, at, focusShiftUm));
  };
  const spotReach = (xPx: number, yPx: number) =>
    shiftReachUm + Math.max(...wavefronts(xPx, yPx).map((w) => spotReachUm(w, rig.focalRatio)));
  const pathAt = (xPx: number, yPx: number) => starPath(motion, toFieldMm(rig, xPx, yPx));

  /**
   * The picture repeats with the window. It must hold the rays, moved as they are, with the diffraction about them (60 wavelengths x F,
   * or the wings that wrap come to a percent of the light), and let the neighbour's wings start well outside of what
   * is drawn: at half again the side, light falling as r^-3 from twice as far.
   */
  function windowNeedUm(reachUm: number, dx: Float64Array, dy: Float64Array): number {
    const drawn = Math.max(...[dx, dy].flatMap((d) => [-d[0], d[d.length - 1]])) * 2 * rig.pixelSizeUm;
    return Math.max(2.3 * reachUm + 60 * longest * rig.focalRatio, 1.5 * drawn);
  }

  /** What is the same for all colours: image motion, the object's own shape, the pixel. */
  function commonTransfer(lattice: Lattice, path: Segment[], shape: Light['shape']): Transfer {
    const { kMax, windowUm, pixel } = lattice;
    const common = emptyTransfer(kMax, windowUm);
    for (let ky = -kMax, i = 0; ky <= kMax; ky++)
      for (let kx = 0; kx <= kMax; kx++, i++)
        common.re[i] = pixel[kx] * pixel[Math.abs(ky)] * (shape ? shape(kx / windowUm, ky / windowUm) : 1);
    applyPath(common, path);
    return common;
  }

  function picture(
    xPx: number,
    yPx: number,
    dx: Float64Array,
    dy: Float64Array,
    light: Light,
  ): Float64Array[] {
    const path = light.path ?? pathAt(xPx, yPx);
    const reachUm = spotReach(xPx, yPx) + pathReachUm(path);
    const lattice = latticeFor(windowNeedUm(reachUm, dx, dy));
    const { kMax, windowUm, workspace } = lattice;
    if (windowUm < 2 * reachUm)
      throw new Error('the spot is too large to be drawn: reduce defocus, aberrations or motion');
    const sums = light.channels.map(() => emptyTransfer(kMax, windowUm));
    wavefronts(xPx, yPx).forEach((wavefront, s) => {
      const shares = light.channels.map((channel) => spectrum[s][channel]);
      if (shares.every((share) => share === 0)) return;
      const { wavelengthUm } = spectrum[s];
      const one = opticalTransfer(lattice.pupils[s], wavefront, wavelengthUm, kMax, windowUm, workspace);
      applyRound(one, lattice.round[s]);
      if (shiftReachUm > 0) applyPath(one, [{ from: shifts[s], to: shifts[s], weight: 1 }]);
      shares.forEach((share, c) => accumulate(sums[c], one, share));
    });
    const common = commonTransfer(lattice, path, light.shape);
    return sums.map((sum) => {
      multiply(sum, common);
      return toPixels(sum, dx, dy, rig.pixelSizeUm);
    });
  }

  function reachPx(
    xPx: number,
    yPx: number,
    flux: number,
    faintest: number,
    path = pathAt(xPx, yPx),
  ): number {
    const px = rig.pixelSizeUm;
    const seeing = (seeingAtArcsec(sky, 0.55) * umPerArcsec(rig)) / px;
    // Wings: Kolmogorov 0.02384 S^(5/3) r^(-11/3) (transform of the first term of its series), an annulus
    // wavelength F / (pi^3 (1 - eps)) r^-3 (mean over its rings), the aureole fraction w / (2 pi) r^-3.
    const edges = (longest * rig.focalRatio) / (px * Math.PI ** 3 * (1 - rig.obstruction));
    const aureole = sky.aureole
      ? (sky.aureole.fraction * sky.aureole.widthArcsec * umPerArcsec(rig)) / (2 * Math.PI * px)
      : 0;
    let r = 3 + 1.5 * seeing;
    while (
      r < MAX_WING_PX &&
      flux * (0.02384 * seeing ** (5 / 3) * r ** (-11 / 3) + (edges + aureole) / r ** 3) > faintest
    )
      r += 1;
    const jitter = (sky.jitterArcsec * umPerArcsec(rig)) / px;
    const all = r + (spotReach(xPx, yPx) + pathReachUm(path)) / px + 4 * jitter;
    return Math.min(all, (0.4 * largestWindowUm) / px);
  }

  return { picture, reachPx };
}

/** Stars so bright that their wings reach farther are cut there, far below what the eye or a fit can see. */
const MAX_WING_PX = 120;

/**
 * Noise-free pixels of one star of total flux 1 on a stamp of `sidePx` x `sidePx` whose middle pixel is the one nearest
 * to the star. Over a mosaic: as the unfiltered sensor would see it, or through one filter when `channel` says so.
 */
export function renderStar(
  scene: Scene,
  xPx: number,
  yPx: number,
  sidePx: number,
  channel: Channel = 'mono',
  renderer: Renderer = createRenderer(scene),
): { values: Float64Array; originXPx: number; originYPx: number; sidePx: number } {
  const originXPx = Math.round(xPx) - (sidePx >> 1);
  const originYPx = Math.round(yPx) - (sidePx >> 1);
  const dx = Float64Array.from({ length: sidePx }, (_, i) => originXPx + i - xPx);
  const dy = Float64Array.from({ length: sidePx }, (_, i) => originYPx + i - yPx);
  const [values] = renderer.picture(xPx, yPx, dx, dy, { channels: [channel] });
  const throughput = scene.spectrum.reduce((sum, sample) => sum + sample[channel], 0);
  return { values: values.map((v) => v / throughput), originXPx, originYPx, sidePx };
}

function applyRound({ kMax, re, im }: Transfer, byK2: Float64Array): void {
  for (let ky = -kMax, i = 0; ky <= kMax; ky++) {
    for (let kx = 0; kx <= kMax; kx++, i++) {
      const factor = byK2[kx * kx + ky * ky];
      re[i] *= factor;
      im[i] *= factor;
    }
  }
}

function accumulate(sum: Transfer, one: Transfer, share: number): void {
  if (share === 0) return;
  for (let i = 0; i < sum.re.length; i++) {
    sum.re[i] += share * one.re[i];
    sum.im[i] += share * one.im[i];
  }
}

function multiply(target: Transfer, by: Transfer): void {
  for (let i = 0; i < target.re.length; i++) {
    const re = target.re[i] * by.re[i] - target.im[i] * by.im[i];
    target.im[i] = target.re[i] * by.im[i] + target.im[i] * by.re[i];
    target.re[i] = re;
  }
}

/**
 * The picture at (dx[i], dy[j]) pixels: the sum over the lattice of T exp(2 pi i f . d), times the area of a pixel
 * over that of the window. Frequencies beyond the pixel's own simply take part: they alias as they do in a camera.
 */
function toPixels(transfer: Transfer, dx: Float64Array, dy: Float64Array, pixelUm: number): Float64Array {
  const { kMax, windowUm, re, im } = transfer;
  const width = kMax + 1;
  const height = 2 * kMax + 1;
  const perPx = (2 * Math.PI * pixelUm) / windowUm;
  const out = new Float64Array(dx.length * dy.length);
  const cos = new Float64Array(width);
  const sin = new Float64Array(width);
  const columnRe = new Float64Array(height);
  const columnIm = new Float64Array(height);
  // Rows of the transform along y, once for all columns.
  const yCos = new Float64Array(dy.length * height);
  const ySin = new Float64Array(dy.length * height);
  for (let j = 0; j < dy.length; j++) {
    for (let r = 0; r < height; r++) {
      yCos[j * height + r] = Math.cos(perPx * (r - kMax) * dy[j]);
      ySin[j * height + r] = Math.sin(perPx * (r - kMax) * dy[j]);
    }
  }
  const scale = (pixelUm / windowUm) ** 2;
  for (let i = 0; i < dx.length; i++) {
    for (let k = 0; k < width; k++) {
      // kx < 0 is the conjugate of kx > 0: counted twice, real part taken at the end.
      const weight = k === 0 ? 1 : 2;
      cos[k] = weight * Math.cos(perPx * k * dx[i]);
      sin[k] = weight * Math.sin(perPx * k * dx[i]);
    }
    for (let r = 0, t = 0; r < height; r++) {
      let sr = 0;
      let si = 0;
      for (let k = 0; k < width; k++, t++) {
        sr += re[t] * cos[k] - im[t] * sin[k];
        si += re[t] * sin[k] + im[t] * cos[k];
      }
      columnRe[r] = sr;
      columnIm[r] = si;
    }
    for (let j = 0; j < dy.length; j++) {
      let sum = 0;
      for (let r = 0, t = j * height; r < height; r++, t++)
        sum += columnRe[r] * yCos[t] - columnIm[r] * ySin[t];
      out[j * dx.length + i] = sum * scale;
    }
  }
  return out;
}
