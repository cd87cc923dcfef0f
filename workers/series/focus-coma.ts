/** Quasi-random points of a star: rays in the annulus and what the air adds. */
const POINTS = 2048;
const DEFOCI = 26;
const COMAS = 16;
const MOST_DEFOCUS = 26;
const MOST_COMA = 9;

/**
 * How coma changes a star's half-flux diameter: ln of the size with coma over that without, against defocus and coma, both
 * in units of the in-focus star's per-axis rms width. Defocus is the disc's radius |z| / 2F, coma the sagittal one, Cs. By
 * rays: each lands at defocus z + Cs (2ρ² + z²) (third order, see handbook of optics) with a Gaussian of unit width about it;
 * half of them lie within the circle about their centroid. Near focus coma widens the star; in a wide disc it only shifts
 * light about, and the half-flux circle becomes a little smaller. Even in defocus.
 */
export interface ComaTable {
  lnRatio(defocus: number, coma: number): number;
}

const tables = new Map<string, ComaTable>();

/** The table of an annulus; made once per obstruction (to a twentieth). */
export function comaTable(obstruction: number): ComaTable {
  const key = (Math.round(obstruction * 20) / 20).toFixed(2);
  const known = tables.get(key) ?? makeTable(Number(key));
  tables.set(key, known);
  return known;
}

function makeTable(obstruction: number): ComaTable {
  const points = cloud(obstruction);
  const table = new Float64Array(DEFOCI * COMAS);
  for (let i = 0; i < DEFOCI; i++)
    for (let j = 0; j < COMAS; j++)
      table[i * COMAS + j] = Math.log(
        medianRadius(points, spread(i / (DEFOCI - 1), MOST_DEFOCUS), spread(j / (COMAS - 1), MOST_COMA)),
      );
  for (let i = 0; i < DEFOCI; i++)
    for (let j = COMAS - 1; j >= 0; j--) table[i * COMAS + j] -= table[i * COMAS];
  return {
    lnRatio(defocus, coma) {
      const u = gather(Math.abs(defocus), MOST_DEFOCUS) * (DEFOCI - 1);
      const v = gather(Math.abs(coma), MOST_COMA) * (COMAS - 1);
      const i = Math.min(Math.floor(u), DEFOCI - 2);
      const j = Math.min(Math.floor(v), COMAS - 2);
      const [a, b] = [Math.min(u - i, 1), Math.min(v - j, 1)];
      const at = (row: number) => table[row * COMAS + j] * (1 - b) + table[row * COMAS + j + 1] * b;
      return at(i) * (1 - a) + at(i + 1) * a;
    },
  };
}

/** The grid is finer near zero: share 0 to 1 of the axis to its value, and back. */
const spread = (share: number, most: number): number => most * share * (0.25 + 0.75 * share);
const gather = (value: number, most: number): number =>
  (Math.sqrt(0.0625 + (3 * Math.min(value, most)) / most) - 0.25) / 1.5;

interface Points {
  u: Float64Array;
  v: Float64Array;
  a: Float64Array;
  b: Float64Array;
}

/** Rays spread by the additive recurrence of irrational steps (Roberts' R sequence in four dimensions), each with its mirror. */
function cloud(obstruction: number): Points {
  const points = {
    u: new Float64Array(POINTS),
    v: new Float64Array(POINTS),
    a: new Float64Array(POINTS),
    b: new Float64Array(POINTS),
  };
  const step = [0.8566748838545029, 0.733891856627126, 0.6287067210378087, 0.5385972572236101];
  for (let i = 0; i < POINTS / 2; i++) {
    const [p, q, r, s] = step.map((each) => (0.5 + (i + 1) * each) % 1);
    const rho = Math.sqrt(obstruction ** 2 + p * (1 - obstruction ** 2));
    const reach = Math.sqrt(-2 * Math.log(1 - r * (1 - 1e-9)));
    for (const [k, side] of [
      [2 * i, 1],
      [2 * i + 1, -1],
    ]) {
      points.u[k] = rho * Math.cos(2 * Math.PI * q);
      points.v[k] = side * rho * Math.sin(2 * Math.PI * q);
      points.a[k] = reach * Math.cos(2 * Math.PI * s);
      points.b[k] = side * reach * Math.sin(2 * Math.PI * s);
    }
  }
  return points;
}

function medianRadius({ u, v, a, b }: Points, defocus: number, coma: number): number {
  const x = new Float64Array(POINTS);
  let mean = 0;
  for (let i = 0; i < POINTS; i++) {
    x[i] = defocus * u[i] + coma * (3 * u[i] ** 2 + v[i] ** 2) + a[i];
    mean += x[i] / POINTS;
  }
  const radii = x.map((each, i) => Math.hypot(each - mean, defocus * v[i] + coma * 2 * u[i] * v[i] + b[i]));
  radii.sort();
  return (radii[POINTS / 2 - 1] + radii[POINTS / 2]) / 2;
}
