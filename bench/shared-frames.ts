import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { nodeSource } from '../bin/node-source.ts';
import { invertSymmetric } from '../workers/math/linear.ts';
import type { FrameReport } from '../workers/protocol/report.ts';
import type { ListedStar } from '../workers/protocol/report.ts';
import { listStars } from '../workers/regions/report.ts';
import type { FrameSession } from '../workers/session.ts';
import { median } from './statistics.ts';

// How well frames with known truth are measured: frames of an independent simulator with their truth files.

/** What a truth file says, as far as it is used here. Moments are [xx, yy, xy] in square micrometres. */
export interface Truth {
  kind: string;
  params: {
    width: number;
    height: number;
    px_um: number;
    focal_mm: number;
    seeing_arcsec: number;
    sky_e: number;
    read_e: number;
    full_well: number;
    bayer: string | null;
    satellite: boolean;
    galaxies_at?: [x: number, y: number, effectiveRadiusPx: number][];
  };
  stars: [xPx: number, yPx: number, electrons: number][];
  budget: Record<TruthPlace, { all_optics: Moments; motion: Moments }>;
  fwhm_px: Record<TruthPlace, number | null>;
}
type Moments = [number, number, number];
type TruthPlace = 'centre' | 'ne' | 'nw' | 'se' | 'sw';

/** The truth's corners in report cells: n = +y, e = +x. */
const CORNER_CELLS: [TruthPlace, col: number, row: number][] = [
  ['centre', 1, 1],
  ['ne', 2, 2],
  ['nw', 0, 2],
  ['se', 2, 0],
  ['sw', 0, 0],
];

export interface Verdict {
  name: string;
  /** True stars of a signal to noise over 15 and over 20 that stand alone, and how many of them were found. */
  alone15: number;
  found15: number;
  alone20: number;
  found20: number;
  listed: number;
  /** Listed, but no star, galaxy or satellite trail is there. */
  falseOnes: ListedStar[];
  /** Distance of bright clean stars from their true places. */
  positionErrorsPx: number[];
  /** Measured over true width of the centre and the corners, where eight stars or more stand behind it. */
  widthRatios: { place: string; ratio: number; sigma: number }[];
  /** The same of the stars' own widths, drawn out to the very place that the truth speaks of. */
  placeRatios: { place: string; ratio: number; sigma: number }[];
  report: FrameReport;
  kind: string;
  timeMs: number;
}

const FAR_PX = 12;
const LONE_PX = 30;
const BORDER_PX = 30;

export const namesIn = (folder: string): string[] =>
  existsSync(folder)
    ? readdirSync(folder)
        .filter((name) => name.endsWith('.truth.json'))
        .map((name) => name.replace('.truth.json', ''))
        .sort()
    : [];

export async function judgeFrame(session: FrameSession, folder: string, name: string): Promise<Verdict> {
  const truth = JSON.parse(readFileSync(join(folder, `${name}.truth.json`), 'utf8')) as Truth;
  const source = await nodeSource(join(folder, `${name}.fits.gz`));
  if (!source.ok) throw new Error(source.fault.message);
  const started = performance.now();
  const outcome = await session.measure(source.value, { rig: {} });
  if (!outcome.ok) throw new Error(`${name}: ${outcome.fault.message}`);
  const timeMs = performance.now() - started;
  const list = listStars(outcome.value.stars);
  const { report } = outcome.value;

  const index = new PlaceIndex(truth.stars.map(([x, y]) => [x, y]));
  const found = new PlaceIndex(list.map(({ xPx, yPx }) => [xPx, yPx]));
  const counts = { alone15: 0, found15: 0, alone20: 0, found20: 0 };
  for (const star of truth.stars) {
    const snr = signalToNoise(truth, star);
    if (snr === null || snr < 15 || !standsAlone(truth, index, star)) continue;
    const seen = found.nearest(star[0], star[1], FAR_PX) !== null;
    counts.alone15++;
    if (seen) counts.found15++;
    if (snr < 20) continue;
    counts.alone20++;
    if (seen) counts.found20++;
  }
  const strangers = list.filter(
    ({ xPx, yPx }) => index.nearest(xPx, yPx, FAR_PX) === null && !inGalaxy(truth, xPx, yPx),
  );
  return {
    name,
    ...counts,
    listed: list.length,
    falseOnes: truth.params.satellite ? withoutTrail(strangers) : strangers,
    positionErrorsPx: list
      .filter(({ snr, flags }) => snr > 100 && flags.every((flag) => flag === 'undersampled'))
      .map(({ xPx, yPx }) => index.nearest(xPx, yPx, FAR_PX))
      .filter((distance) => distance !== null),
    widthRatios: CORNER_CELLS.flatMap(([place, col, row]) => {
      const region = report.regions.find((each) => each.col === col && each.row === row);
      const width = truth.fwhm_px[place];
      if (!region?.fwhmPx || region.stars < 8 || !width) return [];
      return [{ place, ratio: region.fwhmPx.value / width, sigma: region.fwhmPx.sigma / width }];
    }),
    placeRatios: CORNER_CELLS.flatMap(([place, col, row]) => {
      const width = truth.fwhm_px[place];
      const at = width ? widthAt(list, truth, col, row) : null;
      return at ? [{ place, ratio: at.value / width!, sigma: at.sigma / width! }] : [];
    }),
    report,
    kind: truth.kind,
    timeMs,
  };
}

/**
 * Width at the middle or a corner of the frame from the clear stars of its cell: a plane in the logarithm of the width
 * about that place, twice reweighted against outliers. Null for fewer than eight.
 */
function widthAt(list: ListedStar[], { params }: Truth, col: number, row: number) {
  const { width, height } = params;
  const [x0, y0] = [(col * (width - 1)) / 2, (row * (height - 1)) / 2];
  const stars = list.filter(
    ({ xPx, yPx, snr, fwhmPx, flags }) =>
      snr > 20 &&
      fwhmPx !== null &&
      flags.every((flag) => flag === 'undersampled') &&
      Math.min(2, Math.floor((3 * xPx) / width)) === col &&
      Math.min(2, Math.floor((3 * yPx) / height)) === row,
  );
  if (stars.length < 8) return null;
  const logs = stars.map(({ fwhmPx }) => Math.log(fwhmPx!));
  const terms = stars.map(({ xPx, yPx }) => [1, (xPx - x0) / width, (yPx - y0) / height]);
  let weights = stars.map(() => 1);
  let fit: number[] = [];
  let sigma = 0;
  for (let round = 0; round < 3; round++) {
    const matrix = new Float64Array(9);
    const right = new Float64Array(3);
    terms.forEach((term, n) =>
      term.forEach((a, i) => {
        right[i] += weights[n] * a * logs[n];
        term.forEach((b, j) => (matrix[3 * i + j] += weights[n] * a * b));
      }),
    );
    const inverse = invertSymmetric(matrix, 3);
    if (!inverse) return null;
    fit = [0, 1, 2].map((i) => [0, 1, 2].reduce((sum, j) => sum + inverse[3 * i + j] * right[j], 0));
    const rest = logs.map((value, n) => value - terms[n].reduce((sum, a, i) => sum + a * fit[i], 0));
    const scatter = 1.4826 * median(rest.map(Math.abs));
    weights = rest.map((value) => Math.min(1, (1.5 * scatter) / Math.abs(value)));
    sigma = scatter * Math.sqrt(inverse[0]);
  }
  return { value: Math.exp(fit[0]), sigma: Math.exp(fit[0]) * sigma };
}

/**
 * Signal to noise of an optimal extraction: flux over the root of its own photons and those of the sky in the effective
 * area 4 pi s² (King 1983, PASP 95, 163), s² the star's real blur at its place: optics and motion from the truth,
 * seeing as a Gaussian of its full width, the pixel. Null when the peak comes near the full well.
 */
function signalToNoise({ params, budget }: Truth, [x, y, flux]: [number, number, number]): number | null {
  const perPlace = (place: TruthPlace) => {
    const { all_optics: optics, motion } = budget[place];
    return (optics[0] + optics[1] + motion[0] + motion[1]) / 2 / params.px_um ** 2;
  };
  const u = x / (params.width - 1);
  const v = y / (params.height - 1);
  const corner =
    (1 - v) * ((1 - u) * perPlace('sw') + u * perPlace('se')) +
    v * ((1 - u) * perPlace('nw') + u * perPlace('ne'));
  // From the centre to the corners the blur grows about with the square of the distance.
  const out = (2 * u - 1) ** 2 / 2 + (2 * v - 1) ** 2 / 2;
  const blur = (1 - out) * perPlace('centre') + out * corner;
  const seeingPx = (params.seeing_arcsec * params.focal_mm) / (206.264806 * params.px_um);
  const variance = blur + (seeingPx / 2.3548) ** 2 + 1 / 12;
  if (flux / (2 * Math.PI * variance) > 0.9 * params.full_well) return null;
  // Stars are measured on the greens of a mosaic: half of the pixels.
  const share = params.bayer ? 0.5 : 1;
  const noise = flux * share + 4 * Math.PI * variance * share * (params.sky_e + params.read_e ** 2);
  return (flux * share) / Math.sqrt(noise);
}

function standsAlone({ params }: Truth, index: PlaceIndex, [x, y]: [number, number, number]): boolean {
  const { width, height } = params;
  const inside =
    x >= BORDER_PX && y >= BORDER_PX && x <= width - 1 - BORDER_PX && y <= height - 1 - BORDER_PX;
  return inside && index.count(x, y, LONE_PX) === 1;
}

const inGalaxy = ({ params }: Truth, xPx: number, yPx: number): boolean =>
  (params.galaxies_at ?? []).some(([x, y, radius]) => Math.hypot(x - xPx, y - yPx) < 3 * radius + 5);

/** Drops what lies on a line with two others: the truth does not say where the satellite went. */
function withoutTrail(strangers: ListedStar[]): ListedStar[] {
  const off = (a: ListedStar, b: ListedStar, c: ListedStar) =>
    Math.abs((b.xPx - a.xPx) * (c.yPx - a.yPx) - (b.yPx - a.yPx) * (c.xPx - a.xPx)) /
    Math.hypot(b.xPx - a.xPx, b.yPx - a.yPx);
  return strangers.filter(
    (a) => !strangers.some((b) => b !== a && strangers.some((c) => c !== a && c !== b && off(a, b, c) < 3)),
  );
}

class PlaceIndex {
  private readonly cells = new Map<string, [number, number][]>();
  constructor(places: [number, number][]) {
    for (const place of places) {
      const key = this.key(place[0], place[1]);
      this.cells.set(key, [...(this.cells.get(key) ?? []), place]);
    }
  }
  private key = (x: number, y: number) => `${Math.floor(x / LONE_PX)},${Math.floor(y / LONE_PX)}`;
  private *around(x: number, y: number, radius: number): Generator<number> {
    for (let j = -1; j <= 1; j++)
      for (let i = -1; i <= 1; i++)
        for (const [px, py] of this.cells.get(this.key(x + i * LONE_PX, y + j * LONE_PX)) ?? []) {
          const distance = Math.hypot(px - x, py - y);
          if (distance < radius) yield distance;
        }
  }
  count = (x: number, y: number, radius: number): number => [...this.around(x, y, radius)].length;
  nearest(x: number, y: number, radius: number): number | null {
    const distances = [...this.around(x, y, radius)];
    return distances.length === 0 ? null : Math.min(...distances);
  }
}
