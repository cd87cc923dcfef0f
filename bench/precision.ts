import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { MeasuredStar } from '../workers/measure/star.ts';
import { loadKernels, type Kernels } from '../workers/wasm/kernels.ts';
import { cramerRao, type Bound } from './fisher.ts';
import { loadPlane, measurePlane } from './pipeline.ts';
import { allCases, ANGLE_DEG, drawCase, truthOf, type Case, type PrecisionFrame } from './precision-frame.ts';
import { Reference } from './reference.ts';
import { bootstrapError, median, spread } from './statistics.ts';

const SEED = 1000;
const GREENS_OF_RGGB = 6;

interface Pair {
  truth: { xPx: number; yPx: number };
  star: MeasuredStar;
  /** Place in the frame's list of stars. */
  index: number;
}

interface Row {
  wish: Case;
  found: number;
  of: number;
  bias: { fwhm: number; fwhmError: number; hfd: number; e: number; eError: number };
  /** Robust scatter over the Cramer-Rao bound. */
  overBound: { position: number; fwhm: number; e: number };
}

interface OtherStars {
  sep: Record<'x' | 'y' | 'hfd' | 'e1', (number | null)[]>;
  photutils: Record<'x' | 'y', (number | null)[]>;
}

/** Our robust scatter over theirs, same stars, with the bootstrap error. */
interface SideBySide {
  what: string;
  ratio: number;
  error: number;
}

/**
 * `npm run bench -- precision [part]`: bias and scatter over the Cramer-Rao bound for every profile, width, shape and
 * signal to noise, then the same frames through sep and photutils. `part` picks cases whose name contains it; with
 * `alone` as the second word sep and photutils, which take most of the time, are left out.
 */
export async function run([part = '', alone = '']: string[]): Promise<void> {
  const kernels = await loadKernels();
  const reference = new Reference(join(process.cwd(), 'bench/precision_reference.py'));
  const folder = mkdtempSync(join(tmpdir(), 'precision-'));
  const rows: Row[] = [];
  const others: { wish: Case; sides: SideBySide[] }[] = [];
  console.log(HEADER);
  for (const [i, wish] of allCases().entries()) {
    if (!nameOf(wish).includes(part)) continue;
    const frame = drawCase(wish, SEED + i);
    const pairs = measureCase(kernels, frame, wish);
    const row = rowOf(wish, pairs, frame, cramerRao(wish, frame.gainElectronsPerAdu));
    rows.push(row);
    const sides =
      wish.mosaic || alone === 'alone' ? [] : await compare(reference, folder, frame, pairs, wish);
    if (!wish.mosaic) others.push({ wish, sides });
    console.log(`${lineOf(row)}${sides.map(sideText).join('')}`);
  }
  reference.close();
  rmSync(folder, { recursive: true });
  summarise(
    rows,
    others.flatMap(({ wish, sides }) => sides.map((side) => ({ ...side, wish }))),
  );
}

function measureCase(kernels: Kernels, frame: PrecisionFrame, wish: Case): Pair[] {
  const mark = kernels.arena.mark();
  const plane = loadPlane(kernels, frame, wish.mosaic ? GREENS_OF_RGGB : undefined);
  const { measurement } = measurePlane(plane, 1 / frame.gainElectronsPerAdu, kernels);
  kernels.arena.reset(mark);
  return frame.stars.flatMap((truth, index) => {
    let best: MeasuredStar | null = null;
    for (const star of measurement.stars) if (!best || away(star, truth) < away(best, truth)) best = star;
    return best && away(best, truth) < Math.max(3, wish.fwhmPx) ? [{ truth, star: best, index }] : [];
  });
}

const away = (a: { xPx: number; yPx: number }, b: { xPx: number; yPx: number }) =>
  Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx);

function rowOf(wish: Case, pairs: Pair[], frame: PrecisionFrame, bound: Bound): Row {
  const truth = truthOf(wish);
  const [c, s] = [Math.cos((ANGLE_DEG * Math.PI) / 90), Math.sin((ANGLE_DEG * Math.PI) / 90)];
  const column = (pick: (pair: Pair) => number) => pairs.map(pick);
  const medianError = (values: number[]) => (1.2533 * spread(values)) / Math.sqrt(values.length);
  const dx = column(({ star, truth: t }) => star.xPx - t.xPx);
  const dy = column(({ star, truth: t }) => star.yPx - t.yPx);
  const fwhm = column(({ star }) => star.fwhmPx / truth.fwhmPx - 1);
  const along = column(({ star }) => star.e1 * c + star.e2 * s - truth.e);
  const across = column(({ star }) => star.e2 * c - star.e1 * s);
  return {
    wish,
    found: pairs.length,
    of: frame.stars.length,
    bias: {
      fwhm: median(fwhm),
      fwhmError: medianError(fwhm),
      hfd: median(column(({ star }) => star.hfdPx / truth.hfdPx - 1)),
      e: median(along),
      eError: medianError(along),
    },
    overBound: {
      // About the truth, so that errors that depend on the place within the pixel count.
      position: Math.sqrt((scatterAbout0(dx) ** 2 + scatterAbout0(dy) ** 2) / 2) / bound.positionPx,
      fwhm: spread(fwhm) / bound.fwhm,
      e: Math.sqrt((spread(along) ** 2 + spread(across) ** 2) / 2) / bound.e,
    },
  };
}

const scatterAbout0 = (values: number[]) => 1.4826 * median(values.map(Math.abs));

/** The same frame through sep and photutils: positions about the truth, widths and shapes about their own median. */
async function compare(
  reference: Reference,
  folder: string,
  frame: PrecisionFrame,
  pairs: Pair[],
  wish: Case,
): Promise<SideBySide[]> {
  const file = join(folder, 'frame.raw');
  writeFileSync(file, new Uint8Array(frame.pixels.buffer));
  const { sep, photutils } = await reference.ask<OtherStars>({
    file,
    width: frame.widthPx,
    height: frame.heightPx,
    gain: frame.gainElectronsPerAdu,
    half: Math.ceil(1.5 * wish.fwhmPx) + 3,
    xs: frame.stars.map(({ xPx }) => xPx),
    ys: frame.stars.map(({ yPx }) => yPx),
  });
  const side = (
    what: string,
    theirs: (index: number) => number | null,
    ours: (pair: Pair) => number,
    relative = false,
  ): SideBySide => {
    const both = pairs.flatMap((pair) => {
      const other = theirs(pair.index);
      const own = ours(pair);
      return other === null || !Number.isFinite(own) ? [] : [{ own, other }];
    });
    if (both.length < 30) return { what, ratio: NaN, error: NaN };
    const scatter = (values: number[]) => spread(values) / (relative ? median(values) : 1);
    const ratio = (sample: typeof both) =>
      scatter(sample.map(({ own }) => own)) / scatter(sample.map(({ other }) => other));
    return { what, ratio: ratio(both), error: bootstrapError(both, ratio) };
  };
  const off = (values: (number | null)[], axis: 'xPx' | 'yPx') => (index: number) =>
    values[index] === null ? null : values[index] - frame.stars[index][axis];
  return [
    side('x/win', off(sep.x, 'xPx'), ({ star, truth }) => star.xPx - truth.xPx),
    side('x/2dg', off(photutils.x, 'xPx'), ({ star, truth }) => star.xPx - truth.xPx),
    side(
      'hfd/sep',
      (index) => sep.hfd[index],
      ({ star }) => star.hfdPx,
      true,
    ),
    // An isophote's moments make stars rounder than they are: the two compare only relative to the mean.
    ...(wish.axisRatio === 1
      ? []
      : [
          side(
            'e1/sep',
            (index) => sep.e1[index],
            ({ star }) => star.e1,
            true,
          ),
        ]),
  ];
}

const nameOf = ({ profile, beta, fwhmPx, axisRatio, snr, mosaic }: Case) =>
  `${mosaic ? 'mosaic' : 'mono  '} ${profile}${beta ? beta : ''} ${fwhmPx.toFixed(1)} px ${axisRatio === 1 ? 'round' : '0.75 '} SNR ${snr}`;

const HEADER =
  'case | found | bias: FWHM %, HFD %, e | scatter over bound: x, FWHM, e | our scatter over theirs (mono): windowed x, Gaussian-fit x, half-flux, e1 of long stars';

const lineOf = ({ wish, found, of, bias, overBound }: Row) =>
  [
    nameOf(wish).padEnd(42),
    `${found}/${of}`,
    `${percent(bias.fwhm)} ± ${(100 * bias.fwhmError).toFixed(2)} ${percent(bias.hfd)} ${bias.e.toFixed(4)} ± ${bias.eError.toFixed(4)}`,
    [overBound.position, overBound.fwhm, overBound.e].map((value) => value.toFixed(2)).join(' '),
  ].join(' | ');

const percent = (value: number) => (100 * value).toFixed(2).padStart(6);
const sideText = ({ ratio, error }: SideBySide) => ` | ${ratio.toFixed(2)} ± ${error.toFixed(2)}`;

function summarise(rows: Row[], sides: (SideBySide & { wish: Case })[]): void {
  const trusted = rows.filter(({ wish }) => wish.snr > 50);
  const worst = (list: Row[], value: (row: Row) => number) => {
    const row = list.reduce((most, each) => (value(each) > value(most) ? each : most), list[0]);
    return row ? `${value(row).toFixed(4)} (${nameOf(row.wish).trim()})` : '-';
  };
  const over = (value: (row: Row) => number) =>
    `median ${median(rows.map(value)).toFixed(2)}, ${rows.filter((row) => value(row) > 1.15).length} of ${rows.length} over 1.15, worst ${worst(rows, value)}`;
  console.log('');
  console.log(`bias of FWHM at SNR over 50: worst ${worst(trusted, (row) => Math.abs(row.bias.fwhm))}`);
  console.log(`bias of e at SNR over 50: worst ${worst(trusted, (row) => Math.abs(row.bias.e))}`);
  console.log(`position over bound: ${over((row) => row.overBound.position)}`);
  console.log(`FWHM over bound: ${over((row) => row.overBound.fwhm)}`);
  console.log(`e over bound: ${over((row) => row.overBound.e)}`);
  for (const what of new Set(sides.map((side) => side.what))) {
    const list = sides.filter((side) => side.what === what && Number.isFinite(side.ratio));
    if (list.length === 0) continue;
    const above = list.filter(({ ratio, error }) => ratio > 1.05 + 2 * error);
    console.log(
      `${what}: our scatter over theirs, median ${median(list.map(({ ratio }) => ratio)).toFixed(3)}; above 1.05 by two errors in ${above.length} of ${list.length}: ${above.map(({ wish }) => nameOf(wish).trim()).join('; ')}`,
    );
  }
}
