import { interpolateLab, lab, scaleSequential, type LabColor, type ScaleSequential } from 'd3';

/**
 * Scale of lightness for star sizes: narrow is dark, wide is light. Straight lines in CIELAB between three stops with
 * equal steps in L*, so that equal differences look equal. Slate, mauve, bone: colour-blind eyes lose nothing because
 * lightness alone carries the order, and the red channel rises all the way, so the order survives under red light.
 */
const WIDTH_STOPS = [lab(13, -2, -9), lab(51, 6, -6), lab(89, 2, 24)] as const;
/**
 * Scale about zero: less than expected is dark and cold, nothing is a middle grey, more is light and warm. The lightness
 * rises all the way, so which side and how much are seen without any colour, and under red light.
 */
const SIDE_STOPS = [lab(18, 4, -30), lab(52, 0, 2), lab(86, 6, 46)] as const;

type Stops = readonly [LabColor, LabColor, LabColor];

function scaleOf([first, middle, last]: Stops, from: number, to: number): ScaleSequential<string> {
  const low = interpolateLab(first.formatHex(), middle.formatHex());
  const high = interpolateLab(middle.formatHex(), last.formatHex());
  return scaleSequential<string>((t) => (t < 0.5 ? low(2 * t) : high(2 * t - 1)))
    .domain([from, to])
    .clamp(true);
}

export const widthColour = (from: number, to: number): ScaleSequential<string> =>
  scaleOf(WIDTH_STOPS, from, to);

/** Colours of -limit to limit; zero lies in the middle. */
export const sideColour = (limit: number): ScaleSequential<string> => scaleOf(SIDE_STOPS, -limit, limit);

/** The same road for the light inside a star: background dark, peak light. */
export const lightColour = widthColour(0, 1);
