import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { gunzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { createRenderer, renderStar } from '../../workers/simulate/render.ts';
import { makeScene, type Movement, type Scene } from '../../workers/simulate/scene.ts';

/**
 * Frames of another physical-optics simulator with the truth they were drawn from: the same truth put into ours must
 * give the same stars, to within their noise. This binds every convention: signs, axes, centres, units.
 */
const folder = fileURLToPath(new URL('../../../shared/frames/simulated/', import.meta.url));
const present = existsSync(folder);
if (!present) process.stderr.write('skipped: no ../shared/frames beside the project to compare with\n');

interface Truth {
  params: Record<string, number> & Record<string, number[]> & { bayer: 'RGGB' | null };
  stars: [xPx: number, yPx: number, fluxElectrons: number][];
}

describe.skipIf(!present)('stars of an independent simulator', () => {
  const names = present ? readdirSync(folder).filter((name) => name.endsWith('.truth.json')) : [];
  it.each(names)('%s', (name) => {
    const truth = JSON.parse(readFileSync(folder + name, 'utf8')) as Truth;
    const frame = readFits(gunzipSync(readFileSync(folder + name.replace('.truth.json', '.fits.gz'))));
    const scene = sceneOf(truth.params);
    const renderer = createRenderer(scene);
    const chi2: number[] = [];
    for (const [x, y, flux] of loneStars(truth)) {
      const star = renderStar(scene, x, y, 29, scene.rig.mosaic ? 'G' : 'mono', renderer);
      const value = misfit(truth, frame, star, flux);
      if (value !== undefined) chi2.push(value);
      if (chi2.length === 9) break;
    }
    chi2.sort((a, b) => a - b);
    expect(chi2.length).toBeGreaterThanOrEqual(3);
    // Chi-square per pixel of 840 pixels scatters by 5 %; the median of several by less. The converter's steps are
    // taken at their full variance, which bright pixels smooth out: a little under 1 is expected of 12-bit frames.
    const median = chi2[chi2.length >> 1];
    expect(median).toBeGreaterThan(0.75);
    expect(median).toBeLessThan(1.15);
  });
});

function sceneOf(p: Truth['params']): Scene {
  const vector = ([x, y]: number[]) => ({ x, y });
  const motion: Movement[] = [
    { kind: 'drift', vectorUm: vector(p.drift_um) },
    { kind: 'jump', vectorUm: vector(p.jump_um), atFraction: p.jump_at },
    {
      kind: 'periodic',
      amplitudeUm: vector(p.pe_um),
      cycles: p.exposure_s / p.pe_period_s,
      phaseRad: p.pe_phase,
    },
    { kind: 'rotation', angleDeg: p.rotation_deg, centreMm: vector(p.rotation_centre_mm) },
  ];
  const shares = ['B', 'G', 'R'];
  return makeScene({
    rig: {
      focalLengthMm: p.focal_mm,
      focalRatio: p.F,
      obstruction: p.obstruction,
      pixelSizeUm: p.px_um,
      widthPx: p.width,
      heightPx: p.height,
      mosaic: p.bayer,
    },
    spectrum: p.wavelengths_um.map((wavelengthUm, i) => ({
      wavelengthUm,
      focusShiftUm: p.chromatic_z_um[i],
      mono: 1 / 3,
      R: Number(shares[i] === 'R'),
      G: Number(shares[i] === 'G'),
      B: Number(shares[i] === 'B'),
    })),
    optics: {
      focusUm: p.z0_um,
      tiltUmPerMm: { x: p.tilt_x_um_per_mm, y: p.tilt_y_um_per_mm },
      curvatureRadiusMm: p.curvature_radius_mm,
      axisMm: vector(p.axis_mm),
      comaStrength: p.coma_scale,
      comaConstantUm: vector(p.coma_const_um),
      astigmatismStrength: p.astig_scale,
      astigmatismUm: { cos: p.astig_const_um[0], sin: p.astig_const_um[1] },
      trefoilUm: { cos: p.trefoil_um[0], sin: p.trefoil_um[1] },
      sphericalUm: p.spherical_um,
    },
    sky: {
      seeingArcsec: p.seeing_arcsec,
      jitterArcsec: p.jitter_arcsec,
      dispersion: { lengthArcsec: p.dispersion_arcsec, angleDeg: p.dispersion_pa_deg },
    },
    motion: motion.filter((movement) => movement.kind !== 'rotation' || movement.angleDeg !== 0),
  });
}

/** The brightest stars inside the frame that have no neighbour of any weight. */
const loneStars = ({ params, stars }: Truth) =>
  stars
    .filter(([x, y]) => x > 20 && y > 20 && x < params.width - 21 && y < params.height - 21)
    .filter((star) =>
      stars.every(
        (other) =>
          other === star ||
          Math.hypot(other[0] - star[0], other[1] - star[1]) > 26 ||
          other[2] < 0.002 * star[2],
      ),
    )
    .sort((a, b) => b[2] - a[2])
    .slice(2, 60);

/** Chi-square per pixel with flux and background free; undefined when a pixel comes near saturation. */
function misfit(
  { params: p }: Truth,
  frame: (x: number, y: number) => number,
  star: ReturnType<typeof renderStar>,
  flux: number,
): number | undefined {
  const pixels: { electrons: number; model: number; weight: number }[] = [];
  for (let j = 0; j < star.sidePx; j++) {
    for (let i = 0; i < star.sidePx; i++) {
      const [x, y] = [star.originXPx + i, star.originYPx + j];
      if (p.bayer && p.bayer[(x & 1) + 2 * (y & 1)] !== 'G') continue;
      const adu = frame(x, y);
      const electrons = (adu - p.offset_adu) * p.gain_e;
      if (adu > 64000 || electrons > 0.95 * p.full_well) return undefined;
      const model = star.values[j * star.sidePx + i];
      const stepElectrons = p.gain_e * 2 ** (16 - p.bits);
      const weight = 1 / (p.sky_e + p.read_e ** 2 + Math.max(0, flux * model) + stepElectrons ** 2 / 12);
      pixels.push({ electrons, model, weight });
    }
  }
  const sum = (value: (pixel: (typeof pixels)[number]) => number) =>
    pixels.reduce((total, pixel) => total + pixel.weight * value(pixel), 0);
  const [s, m, mm] = [sum(() => 1), sum(({ model }) => model), sum(({ model }) => model ** 2)];
  const [d, md] = [sum(({ electrons }) => electrons), sum(({ electrons, model }) => electrons * model)];
  const scale = (s * md - m * d) / (s * mm - m * m);
  const background = (d - scale * m) / s;
  // Hot pixels and cosmic rays are in the frames, so no pixel counts for more than 5 sigma.
  return (
    pixels.reduce(
      (total, { electrons, model, weight }) =>
        total + Math.min(25, weight * (electrons - scale * model - background) ** 2),
      0,
    ) /
    (pixels.length - 2)
  );
}

/** Pixel reader of a plain 16-bit file with BZERO 32768. */
function readFits(bytes: Buffer): (x: number, y: number) => number {
  let end = 0;
  while (!/END {77}/.test(bytes.toString('latin1', end, end + 2880))) end += 2880;
  const header = bytes.toString('latin1', 0, end + 2880);
  const width = Number(/NAXIS1 *= *(\d+)/.exec(header)![1]);
  return (x, y) => bytes.readInt16BE(end + 2880 + 2 * (y * width + x)) + 32768;
}
