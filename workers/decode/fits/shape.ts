import type { Hdu } from './hdu.ts';

/** A side below this holds no star field. */
export const LEAST_SIDE_PX = 32;

export interface ImageShape {
  widthPx: number;
  heightPx: number;
  planes: 1 | 3;
  /** Planes in the file, read or not. */
  planesInFile: number;
}

/**
 * What the axes say: axes of length one do not count (some writers append them); a third axis of 3 is a colour
 * picture in planes, of any other length a stack of which only the first plane is read. Null when there is no picture.
 */
export function imageShape(axes: number[]): ImageShape | null {
  if (axes.length < 2 || axes.some((length) => length === 0)) return null;
  const [widthPx, heightPx, ...others] = axes.filter((length) => length !== 1);
  if (heightPx === undefined) return null;
  const planesInFile = others.reduce((all, length) => all * length, 1);
  return { widthPx, heightPx, planes: others[0] === 3 ? 3 : 1, planesInFile };
}

export const isFrame = (shape: ImageShape | null): shape is ImageShape =>
  shape !== null && shape.widthPx >= LEAST_SIDE_PX && shape.heightPx >= LEAST_SIDE_PX;

/** Three values for each pixel one behind the other: the first axis of 3 with a picture behind it. */
export const isInterleavedColour = (axes: number[]): boolean =>
  axes.length >= 3 && axes[0] === 3 && axes[1] >= LEAST_SIDE_PX && axes[2] >= LEAST_SIDE_PX;

/** The axes of the picture: those of the packed one where the unit is a compressed image. */
export function pictureAxes(hdu: Hdu): number[] {
  if (hdu.kind === 'image') return hdu.axes;
  if (hdu.kind !== 'compressed-image') return [];
  const count = hdu.header.number('ZNAXIS') ?? 0;
  const axes: number[] = [];
  for (let axis = 1; axis <= Math.min(count, 999); axis++) {
    const length = hdu.header.number(`ZNAXIS${axis}`) ?? 0;
    axes.push(length > 0 && Number.isInteger(length) ? length : 0);
  }
  return axes;
}
