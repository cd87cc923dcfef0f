import { exposeSensor } from '../workers/simulate/detector.ts';
import { collectLight } from '../workers/simulate/exposure.ts';
import { createRandom } from '../workers/simulate/random.ts';
import { createRenderer } from '../workers/simulate/render.ts';
import { makeScene, type Optics, type Scene, type SceneStar } from '../workers/simulate/scene.ts';
import { halfFluxDiameterPx } from '../workers/simulate/widths.ts';
import { loadKernels } from '../workers/wasm/kernels.ts';
import { ALL_SITES } from '../workers/wasm/plane.ts';
import { loadPlane, measurePlane } from './pipeline.ts';
import { bootstrapError, median } from './statistics.ts';

/**
 * `npm run bench -- half-flux [part of a shape's name] [faint]`: bias of half-flux diameter, rms width and light by signal
 * to noise, of stars that no smooth profile describes. Truth: the simulator's noise-free star on a grid three times as
 * fine as the pixels. With `faint` no star is bright, so that nothing tells the frame's wings but faint ones.
 */
export async function run([part = '', faint]: string[]): Promise<void> {
  const kernels = await loadKernels();
  const snrs = faint === 'faint' ? FAINT_SNRS : SNRS;
  console.log('median of measured / true - 1 in %, ± its error, of the stars found once');
  for (const mosaic of [null, 'RGGB'] as const)
    for (const [name, look] of Object.entries(LOOKS).filter(([each]) => each.includes(part))) {
      const rows = snrs.map((snr) => ({
        snr,
        asked: 0,
        hfd: noNumbers(),
        rms: noNumbers(),
        light: noNumbers(),
      }));
      const truths = new Map<string, Truth>();
      for (let seed = 1; seed <= FRAMES; seed++) {
        const mark = kernels.arena.mark();
        const scene = sceneOf(look, mosaic, snrs, seed);
        const { electrons, stars } = collectLight(scene);
        const pixels = exposeSensor(electrons, scene.rig, createRandom(100 + seed));
        const { widthPx, heightPx, gainElectronsPerAdu } = scene.rig;
        const sites = mosaic ? GREENS_OF_RGGB : ALL_SITES;
        const plane = loadPlane(kernels, { pixels, widthPx, heightPx }, sites);
        const { measurement } = measurePlane(plane, 1 / gainElectronsPerAdu, kernels);
        stars.forEach((star, i) => {
          if (look.field && isInner(star)) return;
          const at = look.field ? cellOf(star) : { xPx: (widthPx - 1) / 2, yPx: (heightPx - 1) / 2 };
          const key = `${at.xPx} ${at.yPx}`;
          const truth = truths.get(key) ?? truthOf(scene, at);
          truths.set(key, truth);
          const row = rows[i % snrs.length];
          row.asked++;
          const found = measurement.stars.filter(
            ({ xPx, yPx }) =>
              Math.hypot(xPx - star.xPx - truth.dx, yPx - star.yPx - truth.dy) < 0.5 * truth.hfdPx + 1,
          );
          if (found.length !== 1) return;
          const [{ hfdPx, rmsPx, flux }] = found;
          row.hfd.push(hfdPx / truth.hfdPx - 1);
          row.rms.push(rmsPx / truth.rmsPx - 1);
          row.light.push((flux * gainElectronsPerAdu) / (star.fluxElectrons * truth.throughput) - 1);
        });
        kernels.arena.reset(mark);
      }
      const hfdPx = median([...truths.values()].map((truth) => truth.hfdPx));
      console.log(`${name}, ${mosaic ?? 'mono'}: half-flux diameter ${hfdPx.toFixed(2)} px`);
      for (const { snr, asked, hfd, rms, light } of rows)
        console.log(
          `  SNR ${String(snr).padStart(3)}: ${hfd.length} of ${asked} | HFD ${percent(hfd)} | rms ${percent(rms)} | light ${percent(light)}`,
        );
    }
}

const noNumbers = (): number[] => [];
const percent = (values: number[]) =>
  `${(100 * median(values)).toFixed(1).padStart(6)} ± ${(100 * bootstrapError(values, median)).toFixed(1)}`;

const GREENS_OF_RGGB = 6;
const SNRS = [10, 20, 50, 200, 800];
const FAINT_SNRS = [10, 15, 20, 30];
const FRAMES = 4;
const CELL_PX = 56;
const [COLS, ROWS] = [15, 10];
const SKY_ELECTRONS = 60;
const READ_ELECTRONS = 1.5;
/** rms width is measured within so many half-flux diameters, see workers/measure/growth.ts. */
const MOMENT_DIAMETERS = 3.3 / 2;

interface Look {
  optics: Partial<Optics>;
  seeingArcsec: number;
  /** The truth changes over the field; stars of its outer part are looked at. */
  field?: boolean;
}

/** A small f/4 mirror with 2.9 µm pixels; but for `field`, aberrations are the same everywhere, so that one truth holds. */
const LOOKS: Record<string, Look> = {
  round: { optics: {}, seeingArcsec: 4.5 },
  // A bare paraboloid's corner, 2.5 mm off its axis: h / (32 F³).
  coma: { optics: { comaConstantUm: { x: 1.0, y: 0.7 } }, seeingArcsec: 2.5 },
  donut: { optics: { focusUm: 110 }, seeingArcsec: 2.5 },
  astigmatic: { optics: { astigmatismUm: { cos: 0.3, sin: 0.25 }, focusUm: 35 }, seeingArcsec: 2.5 },
  // All of a mirror's field: every star another shape.
  field: {
    optics: { comaStrength: 1.8, astigmatismStrength: 1, curvatureRadiusMm: 400, focusUm: 10 },
    seeingArcsec: 2.5,
    field: true,
  },
};

function sceneOf(look: Look, mosaic: 'RGGB' | null, snrs: number[], seed: number): Scene {
  const random = createRandom(seed);
  const rig = {
    focalLengthMm: 400,
    focalRatio: 4,
    obstruction: 0.35,
    pixelSizeUm: 2.9,
    widthPx: COLS * CELL_PX,
    heightPx: ROWS * CELL_PX,
    mosaic,
    readNoiseElectrons: READ_ELECTRONS,
  };
  const sky = { seeingArcsec: look.seeingArcsec, skyElectronsPerPx: SKY_ELECTRONS };
  const scene = makeScene({ rig, optics: look.optics, sky, seed });
  const { hfdPx, throughput } = truthOf(scene, { xPx: rig.widthPx / 4, yPx: rig.heightPx / 4 });
  // Cells are handed out in a random order, so that the faint are everywhere.
  const cells = Array.from({ length: COLS * ROWS }, (_, cell) => ({ cell, key: random.uniform() }));
  const stars = cells
    .sort((a, b) => a.key - b.key)
    .map(({ cell }, n): SceneStar => {
      const place = (at: number) => (at + 0.5) * CELL_PX + (random.uniform() - 0.5) * 8;
      const fluxElectrons = fluxFor(snrs[n % snrs.length], hfdPx, mosaic ? 0.5 : 1, throughput);
      return { xPx: place(cell % COLS), yPx: place(Math.floor(cell / COLS)), fluxElectrons };
    });
  return { ...scene, stars };
}

/** The middle of a star's cell. */
const cellOf = ({ xPx, yPx }: SceneStar) => {
  const middle = (at: number) => (Math.floor(at / CELL_PX) + 0.5) * CELL_PX;
  return { xPx: middle(xPx), yPx: middle(yPx) };
};

const isInner = ({ xPx, yPx }: SceneStar): boolean => {
  const [width, height] = [COLS * CELL_PX, ROWS * CELL_PX];
  return Math.hypot(xPx - width / 2, yPx - height / 2) < 0.3 * Math.hypot(width, height);
};

/** Flux for a signal to noise in the matched aperture of a Gaussian with this half-flux diameter (= FWHM). */
function fluxFor(snr: number, hfdPx: number, share: number, throughput: number): number {
  const area = (4 * Math.PI * hfdPx ** 2) / (8 * Math.LN2);
  const noise = area * share * (SKY_ELECTRONS * throughput + READ_ELECTRONS ** 2);
  return (snr ** 2 + Math.sqrt(snr ** 4 + 4 * snr ** 2 * noise)) / 2 / share / throughput;
}

interface Truth {
  /** About the centre of the light, of all of it. */
  hfdPx: number;
  /** Per axis, of the light within MOMENT_DIAMETERS. */
  rmsPx: number;
  /** Of the light's centre from the star's place. */
  dx: number;
  dy: number;
  /** Share of a star's light that the channel takes. */
  throughput: number;
}

function truthOf(scene: Scene, { xPx, yPx }: { xPx: number; yPx: number }): Truth {
  const channel = scene.rig.mosaic ? 'G' : 'mono';
  const throughput = scene.spectrum.reduce((sum, sample) => sum + sample[channel], 0);
  const [half, stepPx] = [100, 0.3];
  const side = 2 * half + 1;
  const offsets = Float64Array.from({ length: side }, (_, i) => (i - half) * stepPx);
  const [values] = createRenderer(scene).picture(xPx, yPx, offsets, offsets, { channels: [channel] });
  const hfdPx = halfFluxDiameterPx({ values, side, stepPx }, throughput / stepPx ** 2);
  const all = sumsOf(values, offsets, 0, 0, Infinity);
  const [dx, dy] = [all.x / all.light, all.y / all.light];
  const inner = sumsOf(values, offsets, dx, dy, MOMENT_DIAMETERS * hfdPx);
  return { hfdPx, rmsPx: Math.sqrt(inner.r2 / inner.light / 2), dx, dy, throughput };
}

/** Light, its dipole and its second moment about (x0, y0) within a radius. */
function sumsOf(values: Float64Array, offsets: Float64Array, x0: number, y0: number, radiusPx: number) {
  const sums = { light: 0, x: 0, y: 0, r2: 0 };
  values.forEach((value, i) => {
    const x = offsets[i % offsets.length] - x0;
    const y = offsets[Math.floor(i / offsets.length)] - y0;
    const r2 = x * x + y * y;
    if (r2 > radiusPx ** 2) return;
    sums.light += value;
    sums.x += value * x;
    sums.y += value * y;
    sums.r2 += value * r2;
  });
  return sums;
}
