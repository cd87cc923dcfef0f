import type { ColourSummary } from '../../workers/protocol/api.ts';
import type { Estimate } from '../../workers/protocol/report.ts';
import { wayOnPicture } from '../../workers/rig/way-on-picture.ts';
import {
  excessPercent,
  lengthWithError,
  shortLength,
  type LengthUnit,
  type PixelScale,
} from '../format/quantity.ts';

/** A difference is told from three standard errors on: three of them are looked at. */
const SIGNIFICANT = 3;
/** Smaller is the same to somebody at a telescope, in widths and in pixels (common practice, no source). */
const WORTH_SAYING = { share: 0.02, px: 0.02 };
/** What fewer stars say is theirs, not the colours'. */
const FEWEST_STARS = 5;
/** Middles of a camera's red and blue, nm (common practice, no source). */
const [RED_NM, BLUE_NM] = [600, 465];
/** How much wider the air alone makes blue stars: as the wavelength to the power -1/5 (Fried 1966, J. Opt. Soc. Am. 56, 1372). */
const BY_AIR = (RED_NM / BLUE_NM) ** 0.2 - 1;

export const COLOUR_NAMES = ['red', 'green', 'blue'] as const;

/** How lengths given in pixels are told, with their error and without. */
interface Lengths {
  length: (estimate: Estimate) => string;
  short: (px: number) => string;
}

/** What the colours of a frame say, in sentences: their focus, their places, their scale. */
export function colourSentences(
  colour: ColourSummary,
  sensor: { widthPx: number; heightPx: number },
  unit: LengthUnit,
  scale: PixelScale,
): string[] {
  if (Math.min(colour.red.stars, colour.blue.stars) < FEWEST_STARS)
    return ['Too few clean stars are bright enough in red and in blue to compare them.'];
  const lengths: Lengths = {
    length: (estimate) => lengthWithError(estimate, unit, scale),
    short: (px) => shortLength(px, unit, scale, 2),
  };
  return [
    focusSentence(colour),
    placeSentence(colour, lengths),
    scaleSentence(colour, sensor, lengths),
  ].filter((sentence) => sentence !== null);
}

/** Blue over red, less one; by half-flux diameters where a width at half height is missing. */
function blueOverRed({ red, blue }: ColourSummary): Estimate | null {
  for (const size of ['fwhmPx', 'hfdPx'] as const) {
    const [r, b] = [red[size], blue[size]];
    if (!r || !b) continue;
    const ratio = b.value / r.value;
    return { value: ratio - 1, sigma: ratio * Math.hypot(r.sigma / r.value, b.sigma / b.value) };
  }
  return null;
}

function focusSentence(colour: ColourSummary): string | null {
  const wider = blueOverRed(colour);
  if (!wider) return null;
  const percent = (share: number) => excessPercent(1 + Math.abs(share));
  const said = `${wider.value > 0 ? 'Blue' : 'Red'} stars are ${percent(wider.value)} wider than ${wider.value > 0 ? 'red' : 'blue'} ones`;
  const seen = Math.max(SIGNIFICANT * wider.sigma, WORTH_SAYING.share);
  if (Math.abs(wider.value) < seen)
    return `Red and blue stars are equally wide, to within ${percent(seen)}: no sign that the colours differ in focus.`;
  if (Math.abs(wider.value - BY_AIR) < seen)
    return `${said}, as the air alone makes them (${percent(BY_AIR)}): no sign that the colours differ in focus.`;
  return `${said}; the air would make blue ${percent(BY_AIR)} wider. The colours do not share one focus: glass in the way (a lens, a corrector, a filter) brings them to different ones. A mirror by itself cannot.`;
}

function placeSentence(
  { redMinusBluePx: { x, y } }: ColourSummary,
  { length, short }: Lengths,
): string | null {
  if (!x || !y) return null;
  const apart = Math.hypot(x.value, y.value);
  const sigma = apart > 0 ? Math.hypot(x.value * x.sigma, y.value * y.sigma) / apart : x.sigma;
  const seenPx = Math.max(SIGNIFICANT * sigma, WORTH_SAYING.px);
  if (apart < seenPx)
    return `Averaged over the frame red and blue light fall on the same place, to within ${short(seenPx)}.`;
  return `All over the frame blue light lies ${length({ value: apart, sigma })} from red, ${wayOnPicture(-x.value, -y.value)}. The air does that low in the sky, where it is a prism and blue lies towards the zenith; so does a tilted piece of glass.`;
}

function scaleSentence(
  { lateralPerPx }: ColourSummary,
  { widthPx, heightPx }: { widthPx: number; heightPx: number },
  { length, short }: Lengths,
): string | null {
  if (!lateralPerPx) return null;
  const cornerPx = Math.hypot(widthPx, heightPx) / 2;
  const apart = { value: Math.abs(lateralPerPx.value) * cornerPx, sigma: lateralPerPx.sigma * cornerPx };
  const seenPx = Math.max(SIGNIFICANT * apart.sigma, WORTH_SAYING.px);
  if (apart.value < seenPx)
    return `Towards the corners red and blue do not part by more than ${short(seenPx)}.`;
  return `Towards the corners ${lateralPerPx.value > 0 ? 'red' : 'blue'} lies farther out, by ${length(apart)} in the very corner: a lens or corrector magnifies the colours differently.`;
}
