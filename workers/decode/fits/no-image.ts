import { DecodeFault } from '../fault.ts';
import { tooSmall } from '../size.ts';
import type { Hdu } from './hdu.ts';
import { imageShape, pictureAxes } from './shape.ts';

/** Why no unit of the file is a frame: the reason that says most about what the file is. */
export function noImageFault(name: string, seen: Hdu[]): DecodeFault {
  const small = seen.map((hdu) => imageShape(pictureAxes(hdu))).find((shape) => shape !== null);
  if (small) return tooSmall(small.widthPx, small.heightPx, name);
  return new DecodeFault(
    'no-image',
    `${name} holds no picture: ${whatInstead(seen)}. Give a frame from the camera.`,
  );
}

function whatInstead(seen: Hdu[]): string {
  const some = (test: (hdu: Hdu) => boolean) => seen.some(test);
  if (some((hdu) => hdu.kind === 'groups'))
    return 'it holds random groups, the measurements of a radio array';
  if (some((hdu) => hdu.kind === 'image' && hdu.dataBytes > 0))
    return 'its data are one-dimensional, as of a spectrum';
  if (some((hdu) => hdu.kind === 'compressed-image')) return 'its compressed data are one-dimensional';
  if (some((hdu) => hdu.kind === 'table')) return 'it holds only tables, as of a catalogue';
  if (some((hdu) => hdu.axes.length > 0)) {
    const { axes } = seen.find((hdu) => hdu.axes.length > 0)!;
    return `its image measures ${axes.join(' x ')}, which is no pixel at all`;
  }
  return 'it is a header without data';
}
