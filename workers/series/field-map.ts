import { mapX, mapY, inverse, type Similarity } from './similarity.ts';
import type { StarPlaces } from './star-places.ts';

/** Stars kept at most: those seen most often, then the brightest. */
const MOST = 600;

interface MapStar {
  x: number;
  y: number;
  /** Inverse variance of x and of y, 1/px². */
  weight: number;
  flux: number;
  seen: number;
}

/**
 * The star field that the frames of a run have in common, in the coordinates of one of them. Each registered frame
 * sharpens the places and adds the stars at its edge, so that a field may wander farther than the frame is wide.
 */
export class FieldMap {
  private stars: MapStar[] = [];
  private columns: StarPlaces | null = null;

  /** Brightest of those seen often first. */
  get places(): StarPlaces {
    this.columns ??= placesOf(this.stars);
    return this.columns;
  }

  /** Adds a frame: `mapping` leads from the map to it; pairs are [index in map, index in frame]. */
  add(
    frame: StarPlaces,
    flux: ArrayLike<number>,
    mapping: Similarity,
    pairs: readonly [number, number][],
    scatter: number,
  ): void {
    const back = inverse(mapping);
    const known = new Map(pairs.map(([i, j]) => [j, i]));
    const added: MapStar[] = [];
    for (let j = 0; j < frame.x.length; j++) {
      const x = mapX(back, frame.x[j], frame.y[j]);
      const y = mapY(back, frame.x[j], frame.y[j]);
      const weight = 1 / (frame.variance[j] + scatter);
      const star = this.stars[known.get(j) ?? -1];
      if (!star) added.push({ x, y, weight, flux: flux[j], seen: 1 });
      else {
        const total = star.weight + weight;
        star.x += ((x - star.x) * weight) / total;
        star.y += ((y - star.y) * weight) / total;
        star.weight = total;
        star.flux += (flux[j] - star.flux) / ++star.seen;
      }
    }
    this.stars = [...this.stars, ...added];
    const often = this.stars.reduce((most, star) => Math.max(most, star.seen), 1);
    // A star missing in most frames is a faint one, or none: it must not push aside those that are there.
    const rank = (star: MapStar) => (star.seen * 3 >= often ? 1 : 0);
    this.stars.sort((p, q) => rank(q) - rank(p) || q.flux - p.flux);
    this.stars.length = Math.min(this.stars.length, MOST);
    this.columns = null;
  }
}

const placesOf = (stars: MapStar[]): StarPlaces => ({
  x: Float64Array.from(stars, (star) => star.x),
  y: Float64Array.from(stars, (star) => star.y),
  variance: Float64Array.from(stars, (star) => 1 / star.weight),
});
