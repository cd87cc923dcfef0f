import type { StarCutout } from '../../workers/protocol/api.ts';
import type { StarUnderModel } from '../../workers/protocol/model.ts';

/** A star's pixels for a closer look, with what the fitted model says of each. Row by row, `sidePx` a side. */
export interface StarLook {
  sidePx: number;
  originXPx: number;
  originYPx: number;
  /** Above the sky, in ADU without a model and in electrons with one. */
  light: Float32Array;
  unit: 'ADU' | 'electrons';
  /** Standard deviation of the sky in one pixel. */
  skySigma: number;
  /** The same star by the model, in the terms of `light`; null without a model. */
  model: Float32Array | null;
  /** light - model over the noise of the pixel; NaN where the pixel was not used. */
  pulls: Float32Array | null;
}

/** Pixels as stored; `backgroundAdu` is the sky at the star. */
export function plainLook(cutout: StarCutout, backgroundAdu: number, skySigma: number): StarLook {
  const { sidePx, originXPx, originYPx, valuesAdu } = cutout;
  return {
    sidePx,
    originXPx,
    originYPx,
    light: valuesAdu.map((adu) => adu - backgroundAdu),
    unit: 'ADU',
    skySigma,
    model: null,
    pulls: null,
  };
}

/** A star on its model, in the window of `cutout` as far as the model's stamp reaches. */
export function modelledLook(cutout: StarCutout, under: StarUnderModel): StarLook {
  const sidePx = Math.min(cutout.sidePx, under.sidePx);
  // Both are odd and centred on the same pixel.
  const margin = (cutout.sidePx - sidePx) / 2;
  const originXPx = cutout.originXPx + margin;
  const originYPx = cutout.originYPx + margin;
  const windowOn = (values: Float32Array, side: number, left: number, top: number) =>
    Float32Array.from({ length: sidePx * sidePx }, (_, i) => {
      const x = originXPx + (i % sidePx) - left;
      const y = originYPx + Math.floor(i / sidePx) - top;
      return x >= 0 && y >= 0 && x < side && y < side ? values[y * side + x] : NaN;
    });
  const ofStamp = (values: Float32Array) => windowOn(values, under.sidePx, under.originXPx, under.originYPx);
  const stored = windowOn(cutout.valuesAdu, cutout.sidePx, cutout.originXPx, cutout.originYPx);
  return {
    sidePx,
    originXPx,
    originYPx,
    // Beyond the border of the frame a stamp holds zeros.
    light: ofStamp(under.electrons).map((value, i) => (Number.isNaN(stored[i]) ? NaN : value)),
    unit: 'electrons',
    skySigma: under.skySigma,
    model: ofStamp(under.model),
    pulls: ofStamp(under.pulls),
  };
}
