/** A star as it is laid down: where, what lies under it, by what it is divided, how much it counts. */
export interface LaidStar {
  xPx: number;
  yPx: number;
  sky: number;
  flux: number;
  weight: number;
}

interface Frame {
  pixels: ArrayLike<number>;
  widthPx: number;
  heightPx: number;
  /** Whether a pixel counts. */
  counts: (x: number, y: number) => boolean;
}

/**
 * Sum of share * value and sum of share at each node of a grid of `side` nodes, `steps` to the pixel, about the star's
 * centre; a pixel's share of a node is (1 - |dx|)(1 - |dy|) with the distances in pixels. Pixels further than `radiusPx`
 * in x or y, and those that `outlier` picks by value and nearest node, stay out.
 */
export function laidStar(
  { pixels, widthPx, heightPx, counts }: Frame,
  star: LaidStar,
  radiusPx: number,
  side: number,
  steps: number,
  outlier: (value: number, node: number) => boolean = () => false,
): { value: number; share: number }[] {
  const sums = Array.from({ length: side * side }, () => ({ value: 0, share: 0 }));
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      const [dx, dy] = [x - star.xPx, y - star.yPx];
      const value = (pixels[y * widthPx + x] - star.sky) / star.flux;
      if (Math.max(Math.abs(dx), Math.abs(dy)) > radiusPx || !counts(x, y) || Number.isNaN(value)) continue;
      const place = (d: number) => Math.round(d * steps + (side - 1) / 2);
      if (outlier(value, place(dy) * side + place(dx))) continue;
      for (let node = 0; node < side * side; node++) {
        const nodeX = ((node % side) - (side - 1) / 2) / steps;
        const nodeY = (Math.floor(node / side) - (side - 1) / 2) / steps;
        const share =
          Math.max(0, 1 - Math.abs(dx - nodeX)) * Math.max(0, 1 - Math.abs(dy - nodeY)) * star.weight;
        sums[node].value += share * value;
        sums[node].share += share;
      }
    }
  return sums;
}
