import { robustMean } from '../math/robust.ts';
import type { ColourChannel, ColourSummary } from '../protocol/api.ts';
import type { ColourStar } from '../measure/colour.ts';

/** Compares the colours of one frame; see `ColourSummary`. */
export function summariseColours(
  channels: { red: ColourStar[]; green: ColourStar[]; blue: ColourStar[] },
  widthPx: number,
  heightPx: number,
): ColourSummary {
  const blueOf = new Map(channels.blue.map((each) => [each.star, each]));
  const pairs = channels.red.flatMap((red) => {
    const blue = blueOf.get(red.star);
    return blue ? [{ red, blue }] : [];
  });
  const dx = pairs.map(({ red, blue }) => red.xPx - blue.xPx);
  const dy = pairs.map(({ red, blue }) => red.yPx - blue.yPx);
  const sigma = pairs.map(({ red, blue }) => Math.hypot(red.positionSigmaPx, blue.positionSigmaPx));
  const mean = { x: robustMean(dx, sigma), y: robustMean(dy, sigma) };

  // Growth along the radius, one slope per star: ((R - B) - mean) . r / r²; those near the centre say little.
  const slopes: number[] = [];
  const slopeSigmas: number[] = [];
  pairs.forEach(({ red }, i) => {
    const rx = red.star.xPx - (widthPx - 1) / 2;
    const ry = red.star.yPx - (heightPx - 1) / 2;
    const r2 = rx * rx + ry * ry;
    if (!mean.x || !mean.y || r2 < (0.1 * widthPx) ** 2) return;
    slopes.push(((dx[i] - mean.x.value) * rx + (dy[i] - mean.y.value) * ry) / r2);
    slopeSigmas.push(sigma[i] / Math.sqrt(r2));
  });
  return {
    red: channelSummary(channels.red),
    green: channelSummary(channels.green),
    blue: channelSummary(channels.blue),
    redMinusBluePx: mean,
    lateralPerPx: slopes.length >= 5 ? robustMean(slopes, slopeSigmas) : null,
  };
}

function channelSummary(stars: ColourStar[]): ColourChannel {
  const column = (pick: (star: ColourStar) => number) => stars.map(pick);
  const widths = column((star) => star.fwhmPx);
  const sigmas = column((star) => star.fwhmSigmaPx);
  const hfdSigmas = column((star) => (star.hfdPx * star.fwhmSigmaPx) / star.fwhmPx);
  return {
    stars: stars.length,
    fwhmPx: robustMean(widths, sigmas),
    hfdPx: robustMean(
      column((star) => star.hfdPx),
      hfdSigmas,
    ),
  };
}
