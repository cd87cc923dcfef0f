import type { Pointing } from '../../protocol/frame.ts';
import { numberIn, stringIn, type Header } from './header.ts';

const DEG = Math.PI / 180;
const NOTHING: Pointing = {
  rightAscensionDeg: null,
  declinationDeg: null,
  northDeg: null,
  eastDeg: null,
  orientationFrom: null,
  arcsecPerPx: null,
  latitudeDeg: null,
  longitudeDeg: null,
  pierSide: null,
};

/**
 * What the header says of sky and site; null when it says nothing of either. World coordinates of the image win over
 * keywords of the camera program. `size` is null where the picture was put together from parts, whose coordinates are
 * not those of the whole.
 */
export function pointingOf(
  headers: Header[],
  size: { widthPx: number; heightPx: number } | null,
): Pointing | null {
  const pointing: Pointing = {
    ...NOTHING,
    rightAscensionDeg: angle(headers, ['RA'], 1, 0, 360) ?? angle(headers, ['OBJCTRA'], 15, 0, 360),
    declinationDeg: angle(headers, ['DEC', 'OBJCTDEC'], 1, -90, 90),
    latitudeDeg: angle(headers, ['SITELAT', 'LAT-OBS', 'OBSGEO-B'], 1, -90, 90),
    longitudeDeg: angle(headers, ['SITELONG', 'LONG-OBS', 'OBSGEO-L'], 1, -180, 360),
    pierSide: pierSide(stringIn(headers, 'PIERSIDE')),
    ...(size === null ? {} : worldCoordinates(headers[0], size)),
  };
  return Object.values(pointing).some((value) => value !== null) ? pointing : null;
}

/**
 * Of an image in right ascension and declination (Greisen & Calabretta 2002, A&A 395, 1061): the centre, where north and
 * east are, and the scale. From the CD matrix, or from CDELT with PC or CROTA2. The centre is projected back as TAN
 * (Calabretta & Greisen 2002, A&A 395, 1077, 5.1.3), to which all projections are equal near the reference point.
 */
function worldCoordinates(header: Header, size: { widthPx: number; heightPx: number }): Partial<Pointing> {
  const [ra, dec] = [header.string('CTYPE1') ?? '', header.string('CTYPE2') ?? ''];
  if (!ra.startsWith('RA--') || !dec.startsWith('DEC-')) return {};
  const matrix = degreesPerPx(header);
  if (!matrix) return {};
  const [xx, xy, yx, yy] = matrix;
  const determinant = xx * yy - xy * yx;
  const scale = Math.sqrt(Math.abs(determinant)) * 3600;
  if (!(scale > 1e-4 && scale < 3600)) return {};
  const direction = (east: number, north: number) =>
    Math.atan2((xx * north - yx * east) / determinant, (yy * east - xy * north) / determinant) / DEG;
  const orientation: Partial<Pointing> = {
    northDeg: direction(0, 1),
    eastDeg: direction(1, 0),
    orientationFrom: 'world-coordinates',
    arcsecPerPx: scale,
  };
  const [ra0, dec0] = [header.number('CRVAL1') ?? NaN, header.number('CRVAL2') ?? NaN];
  const right = (size.widthPx + 1) / 2 - (header.number('CRPIX1') ?? NaN);
  const down = (size.heightPx + 1) / 2 - (header.number('CRPIX2') ?? NaN);
  const centre = onSphere(xx * right + xy * down, yx * right + yy * down, ra0, dec0);
  return centre ? { ...orientation, ...centre } : orientation;
}

/** The linear part, degrees on the tangent plane per pixel, row by row; null when the header does not give it. */
function degreesPerPx(header: Header): [number, number, number, number] | null {
  const elements = (name: string) =>
    (['1_1', '1_2', '2_1', '2_2'] as const).map((place) => header.number(`${name}${place}`));
  const cd = elements('CD');
  if (cd.some((value) => value !== null)) return finite(cd.map((value) => value ?? 0));
  const [perX, perY] = [header.number('CDELT1'), header.number('CDELT2')];
  if (perX === null || perY === null) return null;
  const pc = elements('PC');
  if (pc.some((value) => value !== null)) {
    const [a, b, c, d] = pc.map((value, i) => value ?? (i === 0 || i === 3 ? 1 : 0));
    return finite([perX * a, perX * b, perY * c, perY * d]);
  }
  const turn = (header.number('CROTA2') ?? 0) * DEG;
  const [cos, sin] = [Math.cos(turn), Math.sin(turn)];
  return finite([perX * cos, -perY * sin, perX * sin, perY * cos]);
}

const finite = (values: number[]) =>
  values.every(Number.isFinite) ? (values as [number, number, number, number]) : null;

/** A place of the tangent plane, degrees, on the sphere; null where the reference makes no sense. */
function onSphere(xDeg: number, yDeg: number, ra0Deg: number, dec0Deg: number): Partial<Pointing> | null {
  if (!(Math.abs(dec0Deg) <= 90 && Math.abs(ra0Deg) <= 360 && Math.hypot(xDeg, yDeg) < 30)) return null;
  const [x, y, dec0] = [xDeg * DEG, yDeg * DEG, dec0Deg * DEG];
  const across = Math.cos(dec0) - y * Math.sin(dec0);
  const ra = ra0Deg + Math.atan2(x, across) / DEG;
  const dec = Math.atan2(Math.sin(dec0) + y * Math.cos(dec0), Math.hypot(x, across)) / DEG;
  return { rightAscensionDeg: ((ra % 360) + 360) % 360, declinationDeg: dec };
}

/**
 * The first of `keywords` that holds an angle: a number in degrees, or sexagesimal text, whose first part counts
 * `degrees` each (15 for hours). RA as text is in hours too, as the observatories write it.
 */
function angle(
  headers: Header[],
  keywords: string[],
  degrees: number,
  least: number,
  most: number,
): number | null {
  for (const keyword of keywords) {
    const text = stringIn(headers, keyword);
    if (text === null) continue;
    const parts = /^([+-]?)(\d{1,3})[\s:hd°]+(\d{1,2})(?:[\s:m']+(\d{1,2}(?:\.\d*)?))?[s"]?$/.exec(text);
    const value = parts ? sexagesimal(parts, keyword === 'RA' ? 15 : degrees) : numberIn(headers, keyword);
    if (value !== null && value >= least && value <= most) return value;
  }
  return null;
}

function sexagesimal([, sign, whole, minutes, seconds = '0']: string[], degrees: number): number {
  const size = Number(whole) + Number(minutes) / 60 + Number(seconds) / 3600;
  return (sign === '-' ? -1 : 1) * size * degrees;
}

function pierSide(written: string | null): Pointing['pierSide'] {
  const side = written?.toLowerCase();
  return side === 'east' || side === 'west' ? side : null;
}
