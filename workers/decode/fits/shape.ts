import { LEAST_SIDE_PX } from '../size.ts';
import type { Hdu } from './hdu.ts';

export interface ImageShape {
  widthPx: number;
  heightPx: number;
  planes: 1 | 3;
  /** Planes in the file, read or not. */
  planesInFile: number;
  /** Which picture of a stack is meant, from 0; a picture is one plane, or three of colours. */
  picture: number;
}

/**
 * What the axes say: axes of length one do not count (some writers append them); a third axis of 3 is a colour
 * picture in planes, of any other length a stack of which one plane is read. Null when there is no picture.
 */
export function imageShape(axes: number[]): ImageShape | null {
  if (axes.length < 2 || axes.some((length) => length === 0)) return null;
  const [widthPx, heightPx, ...others] = axes.filter((length) => length !== 1);
  if (heightPx === undefined) return null;
  const planesInFile = others.reduce((all, length) => all * length, 1);
  return { widthPx, heightPx, planes: others[0] === 3 ? 3 : 1, planesInFile, picture: 0 };
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

/** How many pictures lie one behind the other in a unit. */
export const picturesIn = (shape: ImageShape): number => shape.planesInFile / shape.planes;

/** How many pixels of a stack lie before those that are read. */
export const pixelsBefore = (shape: ImageShape): number =>
  shape.picture * shape.planes * shape.widthPx * shape.heightPx;
