import type { Sky } from '../background/sky.ts';
import type { Candidate } from '../detect/detect.ts';
import { axes, type Moments } from '../math/shape.ts';
import { measureStars } from '../measure/measure.ts';
import type { MeasuredStar } from '../measure/star.ts';
import type { Kernels } from '../wasm/kernels.ts';
import { ALL_SITES, type Plane } from '../wasm/plane.ts';
import { budgetAt } from './budget.ts';
import { budgetInput } from './drawn-field.ts';
import type { FieldFit } from './field-fit.ts';
import { modelPictures, type DrawnField, type DrawnPlace } from './model-picture.ts';
import { pictureReachPx } from './model-width.ts';

/** A bright star over a dark sky: what weights the pixels in a fit of it. */
const ELECTRONS = 1e5;
const SKY_SIGMA = 8;

/**
 * The model's stars measured by the hand that measures real ones: they are laid out, without noise, on a small frame of
 * tiles, `columns` of them a row, and go through the same profile fit, growth and calibration. In the order of
 * `places`; positions are from the chief ray's pixel. Null where nothing star-like came out.
 */
export function measureModel(
  kernels: Kernels,
  fit: FieldFit,
  field: DrawnField,
  places: readonly DrawnPlace[],
  columns: number,
): (MeasuredStar | null)[] {
  const shape = typicalShape(fit, field, places);
  const { major } = axes(shape);
  const pictures = modelPictures(kernels, fit.optics, pictureReachPx(1.6 * major ** 2, fit.optics), 1);
  const { arena } = kernels;
  const mark = arena.mark();
  const tile = pictures.side;
  const rows = Math.ceil(places.length / columns);
  const plane: Plane = {
    kind: 'f32',
    address: 0,
    widthPx: columns * tile,
    heightPx: rows * tile,
    sites: ALL_SITES,
    saturationStored: Infinity,
  };
  const pixels = new Float32Array(plane.widthPx * plane.heightPx);
  const candidates = places.map((place, i): Candidate => {
    const left = (i % columns) * tile;
    const top = Math.floor(i / columns) * tile;
    pictures.draw(field, place).forEach((value, at) => {
      pixels[(top + Math.floor(at / tile)) * plane.widthPx + left + (at % tile)] = ELECTRONS * value;
    });
    return {
      xPx: left + pictures.middle,
      yPx: top + pictures.middle,
      significance: ELECTRONS / (SKY_SIGMA * 4 * major),
      double: false,
    };
  });
  plane.address = arena.alloc(4 * pixels.length);
  arena.f32(plane.address, pixels.length).set(pixels);
  const sky: Sky = {
    cols: 1,
    rows: 1,
    levels: new Float32Array(1),
    sigmas: new Float32Array([SKY_SIGMA]),
    roughness: new Float32Array(1),
    levelsAddress: 0,
    sigmasAddress: 0,
    quantum: 0,
  };
  const { stars } = measureStars(
    plane,
    sky,
    { candidates, shape, grid: false, trails: 0 },
    { unitsPerElectron: 1 },
    kernels,
  );
  arena.reset(mark);
  pictures.close();
  const found = new Map(
    stars.map((star) => [Math.floor(star.yPx / tile) * columns + Math.floor(star.xPx / tile), star]),
  );
  return candidates.map(({ xPx, yPx }, i) => {
    const star = found.get(i);
    return star ? { ...star, xPx: star.xPx - xPx, yPx: star.yPx - yPx } : null;
  });
}

/** Median second moments of the stars, round: where a fit of a profile begins. */
function typicalShape(fit: FieldFit, { theta }: DrawnField, places: readonly DrawnPlace[]): Moments {
  const variances = places
    .map(({ xi, eta }) => budgetAt({ ...budgetInput(fit), theta }, xi, eta).total)
    .sort((a, b) => a - b);
  const variance = variances[variances.length >> 1] ?? 1.5;
  return { xx: variance, yy: variance, xy: 0 };
}
