import { describe, expect, test } from 'vitest';
import { analyticFrame } from '../../workers/simulate/analytic.ts';
import type { FitsCard } from '../../workers/simulate/fits.ts';
import { createRandom } from '../../workers/simulate/random.ts';
import { distance, measureFrame, pairUp, rowsOf, scatter, type Frame16 } from '../support/star-frames.ts';

const GAIN = 1;
const CARDS: FitsCard[] = [['EGAIN', GAIN]];
const base = {
  profile: 'moffat' as const,
  beta: 3.5,
  fwhmPx: 3,
  widthPx: 500,
  heightPx: 400,
  skyElectrons: 80,
  readNoiseElectrons: 2,
  gainElectronsPerAdu: GAIN,
  offsetAdu: 400,
  seed: 9,
};
const lone = scatter(30, 500, 400, 45, 30, 4).map((place) => ({ ...place, fluxElectrons: 20_000 }));

describe('flags', () => {
  test('saturated: stars beyond the limit of the camera, and only they', async () => {
    const stars = lone.map((star, i) => ({ ...star, fluxElectrons: i % 6 === 0 ? 3e6 : 20_000 }));
    const frame = analyticFrame({ ...base, stars });
    const rows = rowsOf((await measureFrame(frame, CARDS)).stars);
    // The peak of a 20000 electron star of 3 px is some 1700; of 3e6 some 250000, beyond the 65535 of 16 bit.
    const { pairs, missed, extra } = pairUp(stars, rows);
    expect([missed, extra]).toEqual([[], []]);
    for (const { truth, found } of pairs)
      expect(found.flags.includes('saturated'), `flux ${truth.fluxElectrons}`).toBe(
        truth.fluxElectrons > 1e6,
      );
    // Position and flux of a clipped star come from its flanks.
    for (const { truth, found } of pairs.filter((pair) => pair.found.flags.includes('saturated')))
      expect(distance(truth, found)).toBeLessThan(0.1);
  });

  test('saturated at 12 bit spread over 16 too', async () => {
    const stars = lone.map((star, i) => ({ ...star, fluxElectrons: i % 6 === 0 ? 4e5 : 20_000 }));
    const frame = analyticFrame({ ...base, stars });
    const pixels = frame.pixels.map((value) => 16 * Math.min(4095, Math.round(value / 4)));
    const rows = rowsOf((await measureFrame({ ...frame, pixels }, CARDS)).stars);
    const { pairs, missed } = pairUp(stars, rows);
    expect(missed).toEqual([]);
    for (const { truth, found } of pairs)
      expect(found.flags.includes('saturated')).toBe(truth.fluxElectrons > 1e5);
  });

  /** Ten of the stars get a companion of half their light at this distance, each in another direction. */
  const withCompanions = (apartPx: number) =>
    lone.slice(0, 10).map((star, i) => ({
      xPx: star.xPx + apartPx * Math.cos(i * 0.63),
      yPx: star.yPx + apartPx * Math.sin(i * 0.63),
      fluxElectrons: 10_000,
    }));

  test.each([4, 5])('blended: what is seen of pairs %i px apart is kept from the shapes', async (apartPx) => {
    const companions = withCompanions(apartPx);
    const frame = analyticFrame({ ...base, stars: [...lone, ...companions] });
    const rows = rowsOf((await measureFrame(frame, CARDS)).stars);
    for (const [i, star] of lone.entries()) {
      const near = rows.filter((row) => distance(row, star) < 8);
      expect(near.length, `star ${i}`).toBeGreaterThan(0);
      for (const row of near)
        expect(
          row.flags.some((flag) => SHAPELESS.includes(flag)),
          `star ${i}: ${row.flags.join(' ')}, ${row.fwhmPx} px`,
        ).toBe(i < 10);
    }
  });

  test('pairs 8 px apart are two stars each, measured right', async () => {
    const companions = withCompanions(8);
    const frame = analyticFrame({ ...base, stars: [...lone, ...companions] });
    const { pairs, missed, extra } = pairUp(
      [...lone, ...companions],
      rowsOf((await measureFrame(frame, CARDS)).stars),
    );
    expect([missed, extra]).toEqual([[], []]);
    // 0.1 px is some eight standard errors of the fainter of the pair.
    for (const { truth, found } of pairs) expect(distance(truth, found)).toBeLessThan(0.1);
  });

  test('edge: stars on the border are flagged, those three widths inside are not', async () => {
    const onBorder = [
      [1, 200],
      [498, 120],
      [250, 0.4],
      [150, 398.2],
      [-0.3, 330],
    ].map(([xPx, yPx]) => ({ xPx, yPx, fluxElectrons: 30_000 }));
    const inside = [
      [12, 90],
      [487, 300],
      [310, 11],
      [60, 388],
    ].map(([xPx, yPx]) => ({ xPx, yPx, fluxElectrons: 30_000 }));
    const middle = lone.filter((star) =>
      [...onBorder, ...inside].every((other) => distance(star, other) > 45),
    );
    const rows = rowsOf(
      (await measureFrame(analyticFrame({ ...base, stars: [...onBorder, ...inside, ...middle] }), CARDS))
        .stars,
    );
    const cut = pairUp(onBorder, rows);
    for (const { found } of cut.pairs) expect(found.flags).toContain('edge');
    expect(cut.pairs.length).toBeGreaterThanOrEqual(3);
    const whole = pairUp([...inside, ...middle], rows);
    expect(whole.missed).toEqual([]);
    for (const { found } of whole.pairs) expect(found.flags).not.toContain('edge');
  });
});

describe('what is no star', () => {
  /** A field of 30 good stars with something put on top of the pixels; whatever is found besides the stars. */
  async function extras(change: (frame: Frame16) => void, stars = lone) {
    const frame = analyticFrame({ ...base, stars });
    change(frame);
    const measured = await measureFrame(frame, CARDS);
    const { missed, extra, pairs } = pairUp(stars, rowsOf(measured.stars));
    return { missed, extra, pairs, report: measured.report };
  }

  test('300 hot pixels, lone and in pairs, are refused', async () => {
    const random = createRandom(31);
    const { missed, extra } = await extras(({ pixels, widthPx }) => {
      for (let n = 0; n < 300; n++) {
        const at = random.integer(pixels.length - widthPx - 1);
        const value = Math.min(65535, pixels[at] + 150 * 10 ** (2.4 * random.uniform()));
        pixels[at] = value;
        if (n % 10 === 0) pixels[at + 1] = value;
      }
    });
    expect(missed.length).toBeLessThanOrEqual(1);
    expect(extra).toEqual([]);
  });

  test('60 cosmic rays, one to twelve pixels long, are refused or flagged', async () => {
    const random = createRandom(32);
    const { missed, extra } = await extras(({ pixels, widthPx, heightPx }) => {
      for (let n = 0; n < 60; n++) {
        const [x0, y0] = [random.uniform() * widthPx, random.uniform() * heightPx];
        const angle = Math.PI * random.uniform();
        const length = 1 + 11 * random.uniform() ** 2;
        const charge = 300 + 1500 * random.uniform();
        const hit = new Set<number>();
        for (let s = 0; s < length; s += 0.2) {
          const [x, y] = [Math.round(x0 + s * Math.cos(angle)), Math.round(y0 + s * Math.sin(angle))];
          if (x >= 0 && y >= 0 && x < widthPx && y < heightPx) hit.add(y * widthPx + x);
        }
        for (const at of hit) pixels[at] += charge;
      }
    });
    expect(missed.length).toBeLessThanOrEqual(1);
    // A long track counts as detected; it must not enter the shapes.
    const trusted = extra.filter(({ flags }) => !flags.some((flag) => SHAPELESS.includes(flag)));
    expect(trusted).toEqual([]);
  });

  test('a satellite trail is left out and told; the stars beside it stay', async () => {
    const random = createRandom(33);
    const { missed, extra, report } = await extras(({ pixels, widthPx }) => {
      for (let x = 0; x < widthPx; x++)
        for (let dy = -6; dy <= 6; dy++) {
          const y0 = 60 + 0.55 * x;
          const y = Math.round(y0) + dy;
          const light = 250 * Math.exp(-0.5 * ((y - y0) / 1.3) ** 2);
          pixels[y * widthPx + x] += random.poisson(light);
        }
    });
    expect(report.warnings.join(' ')).toMatch(/satellite/i);
    const trusted = extra.filter(({ flags }) => !flags.some((flag) => SHAPELESS.includes(flag)));
    expect(trusted).toEqual([]);
    // Only stars that the trail runs over may be lost.
    for (const { xPx, yPx } of missed) expect(Math.abs(yPx - 60 - 0.55 * xPx)).toBeLessThan(12);
  });

  test('a bled column and a warm column are not stars', async () => {
    const random = createRandom(34);
    const { missed, extra } = await extras(({ pixels, widthPx, heightPx }) => {
      for (let y = 0; y < heightPx; y++) pixels[y * widthPx + 77] += random.poisson(60);
      for (let y = 100; y < 260; y++) pixels[y * widthPx + 333] = 65535;
    });
    for (const { xPx } of missed) expect(Math.min(Math.abs(xPx - 77), Math.abs(xPx - 333))).toBeLessThan(12);
    const trusted = extra.filter(({ flags }) => !flags.some((flag) => SHAPELESS.includes(flag)));
    expect(trusted).toEqual([]);
  });

  test('galaxies eight times as wide as the stars are flagged as extended', async () => {
    const galaxies = [
      { xPx: 120, yPx: 90 },
      { xPx: 390, yPx: 280 },
    ];
    const stars = lone.filter((star) => galaxies.every((galaxy) => distance(star, galaxy) > 60));
    const random = createRandom(35);
    const { missed, extra } = await extras(({ pixels, widthPx, heightPx }) => {
      for (const { xPx, yPx } of galaxies)
        for (let y = 0; y < heightPx; y++)
          for (let x = 0; x < widthPx; x++)
            pixels[y * widthPx + x] += random.poisson(220 * Math.exp(-Math.hypot(x - xPx, y - yPx) / 7));
    }, stars);
    expect(missed).toEqual([]);
    const seen = galaxies.map((galaxy) => extra.filter((row) => distance(row, galaxy) < 12));
    for (const rows of seen) for (const row of rows) expect(row.flags).toContain('extended');
    expect(extra.length).toBe(seen.flat().length);
  });

  test('a nebula, vignetting of 40 % and a steep sky add no stars and hide none', async () => {
    const { missed, extra } = await extras(({ pixels, widthPx, heightPx }) => {
      for (let y = 0; y < heightPx; y++)
        for (let x = 0; x < widthPx; x++) {
          const r2 = ((x - 250) / 250) ** 2 + ((y - 200) / 200) ** 2;
          const glow = 50 * Math.exp(-((x - 180) ** 2 + (y - 240) ** 2) / (2 * 70 ** 2)) + 0.6 * x;
          const at = y * widthPx + x;
          pixels[at] = 400 + (pixels[at] - 400) * (1 - 0.2 * r2) + glow;
        }
    });
    expect(missed).toEqual([]);
    expect(extra).toEqual([]);
  });
});

const SHAPELESS = ['saturated', 'blended', 'edge', 'extended', 'streak', 'sharp', 'faint', 'unfitted'];

describe('frames without stars', () => {
  const [widthPx, heightPx] = [300, 200];

  test.each([1, 2, 3, 4, 5, 6])(
    'noise only (seed %i): no star, a fault that says what to do',
    async (seed) => {
      const { report, stars } = await measureFrame(analyticFrame({ ...base, stars: [], seed }), CARDS);
      expect(stars.count).toBe(0);
      expect(report.fault).toMatchObject({ code: 'too-few-stars' });
      expect(report.sensor).toEqual({ fwhmPx: null, hfdPx: null, elongation: null, angleDeg: null });
    },
  );

  test('a constant frame is refused', async () => {
    const pixels = new Uint16Array(widthPx * heightPx).fill(1234);
    await expect(measureFrame({ pixels, widthPx, heightPx })).rejects.toThrow(/no-signal/);
  });

  test('a flat field: bright, vignetted, pixels of unequal response, dust: no star', async () => {
    const random = createRandom(6);
    const pixels = Uint16Array.from({ length: widthPx * heightPx }, (_, i) => {
      const [x, y] = [i % widthPx, Math.floor(i / widthPx)];
      const r2 = ((x - 150) / 150) ** 2 + ((y - 100) / 100) ** 2;
      const dust = 1 - 0.03 * Math.exp(-0.5 * ((Math.hypot(x - 90, y - 60) - 11) / 3) ** 2);
      return random.poisson(28_000 * (1 - 0.15 * r2) * dust * (1 + 0.004 * random.normal()));
    });
    const { report, stars } = await measureFrame({ pixels, widthPx, heightPx }, CARDS);
    expect(stars.count).toBe(0);
    expect(report.fault?.message).toMatch(/^[A-Z].*\.$/);
  });

  test('seven stars are the everyday case: measured, no fault', async () => {
    const { report, stars } = await measureFrame(analyticFrame({ ...base, stars: lone.slice(0, 7) }), CARDS);
    expect(stars.count).toBe(7);
    expect(report.fault).toBeNull();
    expect(report.sensor.fwhmPx!.value).toBeGreaterThan(2.9);
  });
});
