import type { StampSet } from '../protocol/stamps.ts';
import { spreadOrder } from './star-choice.ts';
import type { StampMoments } from './stamp-moments.ts';

const LEAST_SNR = 12;
/** Stars whose size is far from the others' (galaxies, cosmic rays) do not race; they are judged later. */
const RACING_SIZES = { least: 0.3, most: 4 };

/** Field coordinates of a set's stars, half-diagonals from the sensor's centre. */
export function fieldPositions(stamps: StampSet): { xi: Float64Array; eta: Float64Array } {
  const { widthPx, heightPx } = stamps;
  const radius = Math.hypot(widthPx - 1, heightPx - 1) / 2;
  return {
    xi: stamps.xPx.map((x) => (x - (widthPx - 1) / 2) / radius),
    eta: stamps.yPx.map((y) => (y - (heightPx - 1) / 2) / radius),
  };
}

/** Stars of ordinary size first, then the rest, each part spread over the field. */
export function racingOrder(
  moments: StampMoments,
  { xi, eta }: { xi: Float64Array; eta: Float64Array },
): number[] {
  const valid = (star: number) =>
    Number.isFinite(moments.moments[7 * star]) && moments.snr[star] >= LEAST_SNR;
  const sizes = Array.from(xi, (_, star) => star)
    .filter(valid)
    .map((star) => Math.sqrt(moments.moments[7 * star]))
    .sort((a, b) => a - b);
  const typical = sizes[sizes.length >> 1] ?? 1;
  const ordinary = (star: number) => {
    const size = Math.sqrt(moments.moments[7 * star]) / typical;
    return size > RACING_SIZES.least && size < RACING_SIZES.most;
  };
  return [
    ...spreadOrder(xi, eta, moments.snr, (star) => valid(star) && ordinary(star)),
    ...spreadOrder(xi, eta, moments.snr, (star) => valid(star) && !ordinary(star)),
  ];
}
