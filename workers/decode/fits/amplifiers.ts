import type { Hdu } from './hdu.ts';
import { imageShape, isFrame, pictureAxes } from './shape.ts';

/** A section "[x1:x2,y1:y2]": first and last pixel of each axis, from 1, possibly running backwards. */
export interface Section {
  x: [first: number, last: number];
  y: [first: number, last: number];
}

const SECTION = /^\[\s*(\d+)\s*:\s*(\d+)\s*,\s*(\d+)\s*:\s*(\d+)\s*\]$/;

export function readSection(text: string | null): Section | null {
  const [, ...digits] = SECTION.exec(text?.trim() ?? '') ?? [];
  const [x1, x2, y1, y2] = digits.map(Number);
  return digits.length === 4 ? { x: [x1, x2], y: [y1, y2] } : null;
}

const length = ([first, last]: [number, number]) => Math.abs(last - first) + 1;
const lowest = (section: Section, axis: 'x' | 'y') => Math.min(...section[axis]);

/** One read-out of a sensor: which of its pixels saw light, and where they belong. All from 0. */
export interface Amplifier {
  index: number;
  /** The pixels that saw light, in the unit's own numbering. */
  from: { xPx: number; yPx: number; widthPx: number; heightPx: number };
  /** Where their first one goes on the joined frame, and which way the others follow. */
  to: { xPx: number; yPx: number; stepX: 1 | -1; stepY: 1 | -1 };
  /** Pixels that never saw light; null when the header does not name them. */
  overscan: Section | null;
}

export interface AmplifierPlan {
  widthPx: number;
  heightPx: number;
  amplifiers: Amplifier[];
}

/** Whether a unit says which part of a sensor it is (the mosaic keywords of the observatories: DATASEC and DETSEC). */
export const isAmplifier = ({ header }: Hdu): boolean =>
  readSection(header.string('DATASEC')) !== null &&
  readSection(header.string('DETSEC') ?? header.string('CCDSEC')) !== null;

/**
 * How the units of a file join into one frame; null when they do not: fewer than two, numbers of different kinds, or
 * parts that do not fill a rectangle without gap and overlap (the sensors of a mosaic camera stand apart).
 */
export function amplifierPlan(units: Hdu[]): AmplifierPlan | null {
  const parts = units.filter((hdu) => isFrame(imageShape(pictureAxes(hdu))));
  if (parts.length < 2 || !parts.every(isAmplifier) || !alike(parts)) return null;
  const sections = parts.map(({ header }) => ({
    data: readSection(header.string('DATASEC'))!,
    detector: readSection(header.string('DETSEC') ?? header.string('CCDSEC'))!,
  }));
  // Sections of the sensor count bare pixels; the frame may be binned.
  const [binX, binY] = (['x', 'y'] as const).map((axis) => {
    const factor = length(sections[0].detector[axis]) / length(sections[0].data[axis]);
    return Number.isInteger(factor) ? factor : 0;
  });
  if (binX === 0 || binY === 0) return null;
  const left = Math.min(...sections.map(({ detector }) => lowest(detector, 'x')));
  const low = Math.min(...sections.map(({ detector }) => lowest(detector, 'y')));
  const amplifiers: Amplifier[] = [];
  for (const [i, { data, detector }] of sections.entries()) {
    const [widthPx, heightPx] = [length(data.x), length(data.y)];
    const shape = imageShape(pictureAxes(parts[i]))!;
    const from = { xPx: lowest(data, 'x') - 1, yPx: lowest(data, 'y') - 1, widthPx, heightPx };
    const inside = from.xPx + widthPx <= shape.widthPx && from.yPx + heightPx <= shape.heightPx;
    const corner = [(lowest(detector, 'x') - left) / binX, (lowest(detector, 'y') - low) / binY];
    const whole = length(detector.x) === widthPx * binX && length(detector.y) === heightPx * binY;
    if (!inside || !whole || !corner.every(Number.isInteger)) return null;
    const backX = detector.x[0] > detector.x[1] !== data.x[0] > data.x[1];
    const backY = detector.y[0] > detector.y[1] !== data.y[0] > data.y[1];
    amplifiers.push({
      index: parts[i].index,
      from,
      to: {
        xPx: corner[0] + (backX ? widthPx - 1 : 0),
        yPx: corner[1] + (backY ? heightPx - 1 : 0),
        stepX: backX ? -1 : 1,
        stepY: backY ? -1 : 1,
      },
      overscan: readSection(parts[i].header.string('BIASSEC')),
    });
  }
  return filled(amplifiers);
}

/** Numbers of one kind and scale in all parts, so that they can stand side by side. */
function alike(parts: Hdu[]): boolean {
  const kind = ({ header, bitpix, axes, kind }: Hdu) =>
    [
      header.number('ZBITPIX') ?? bitpix,
      kind,
      axes.length,
      header.number('BZERO'),
      header.number('BSCALE'),
    ].join();
  return parts.every((part) => kind(part) === kind(parts[0]) && !part.header.has('BLANK'));
}

/** The joined frame, if the parts cover every pixel of it exactly once. */
function filled(amplifiers: Amplifier[]): AmplifierPlan | null {
  const boxes = amplifiers.map(({ from, to }) => ({
    left: to.stepX > 0 ? to.xPx : to.xPx - from.widthPx + 1,
    top: to.stepY > 0 ? to.yPx : to.yPx - from.heightPx + 1,
    widthPx: from.widthPx,
    heightPx: from.heightPx,
  }));
  const widthPx = Math.max(...boxes.map((box) => box.left + box.widthPx));
  const heightPx = Math.max(...boxes.map((box) => box.top + box.heightPx));
  const area = boxes.reduce((sum, box) => sum + box.widthPx * box.heightPx, 0);
  const overlap = boxes.some((a, i) =>
    boxes.some(
      (b, j) =>
        i < j &&
        a.left < b.left + b.widthPx &&
        b.left < a.left + a.widthPx &&
        a.top < b.top + b.heightPx &&
        b.top < a.top + a.heightPx,
    ),
  );
  return area === widthPx * heightPx && !overlap ? { widthPx, heightPx, amplifiers } : null;
}
