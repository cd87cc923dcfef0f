const SUBSAMPLES = 32;

/**
 * An annulus of unit radius on `samples` x `samples` cells, each holding the share of its area inside the annulus
 * (row-major over u; both axes symmetric about 0). A hard 0/1 edge would make the pattern depend on the sampling.
 */
export function annulus(samples: number, obstruction: number): Float64Array {
  const share = new Float64Array(samples * samples);
  const cell = 2 / samples;
  const inner = obstruction * obstruction;
  for (let i = 0; i < samples; i++)
    for (let j = 0; j < samples; j++) {
      const near = Math.hypot(nearest(i, samples) * cell, nearest(j, samples) * cell);
      const far = Math.hypot(farthest(i, samples) * cell, farthest(j, samples) * cell);
      if (near >= 1 || far <= obstruction) continue;
      if (far <= 1 && near >= obstruction) {
        share[i * samples + j] = 1;
        continue;
      }
      let inside = 0;
      for (let s = 0; s < SUBSAMPLES; s++)
        for (let t = 0; t < SUBSAMPLES; t++) {
          const u = -1 + (i + (s + 0.5) / SUBSAMPLES) * cell;
          const v = -1 + (j + (t + 0.5) / SUBSAMPLES) * cell;
          const r2 = u * u + v * v;
          if (r2 <= 1 && r2 >= inner) inside++;
        }
      share[i * samples + j] = inside / (SUBSAMPLES * SUBSAMPLES);
    }
  return share;
}

/** Position of the centre of cell `index`, in [-1, 1]. */
export const pupilCoordinate = (index: number, samples: number): number => ((index + 0.5) * 2) / samples - 1;

/** Least and greatest distance of a cell's edges from the middle, in cells. */
const nearest = (index: number, samples: number) =>
  Math.max(
    0,
    Math.min(Math.abs(index - samples / 2), Math.abs(index + 1 - samples / 2)) * sameSide(index, samples),
  );
const farthest = (index: number, samples: number) =>
  Math.max(Math.abs(index - samples / 2), Math.abs(index + 1 - samples / 2));
const sameSide = (index: number, samples: number) =>
  (index - samples / 2) * (index + 1 - samples / 2) < 0 ? 0 : 1;
