import { interpolateLab, lab, scaleSequential, type ScaleSequential } from 'd3';

/**
 * Scale of lightness for star sizes: narrow is dark, wide is light. Straight lines in CIELAB between three stops with
 * equal steps in L*, so that equal differences look equal. Slate, mauve, bone: colour-blind eyes lose nothing because
 * lightness alone carries the order, and the red channel rises all the way, so the order survives under red light.
 */
const STOPS = [lab(13, -2, -9).formatHex(), lab(51, 6, -6).formatHex(), lab(89, 2, 24).formatHex()] as const;

export function widthColour(from: number, to: number): ScaleSequential<string> {
  const low = interpolateLab(STOPS[0], STOPS[1]);
  const high = interpolateLab(STOPS[1], STOPS[2]);
  return scaleSequential<string>((t) => (t < 0.5 ? low(2 * t) : high(2 * t - 1))).domain([from, to]);
}

/** The same road for the light inside a star: background dark, peak light. */
export const lightColour = widthColour(0, 1);
