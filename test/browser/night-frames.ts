import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { writeFits16, type FitsCard } from '../../workers/simulate/fits.ts';

/** What one frame of a drawn night looks like; stars are elliptical Gaussians at fixed places of the sky. */
export interface NightFrame {
  sigmaPx: number;
  /** Length over width. */
  elongation: number;
  light: number;
  skyAdu: number;
  xPx: number;
  yPx: number;
  /** The drive stopped: in this part of the exposure all stars ran evenly over so many px. */
  ran: { share: number; xPx: number; yPx: number } | null;
  /** How many stars there are in and around the frame. */
  stars: number;
  cards: FitsCard[];
}
const PLAIN: NightFrame = {
  sigmaPx: 1.5,
  elongation: 1,
  light: 1,
  skyAdu: 300,
  xPx: 0,
  yPx: 0,
  ran: null,
  stars: 90,
  cards: [],
};
const [WIDTH, HEIGHT] = [480, 320];
const START = Date.UTC(2026, 9, 17, 20);

/** The bytes of a night's frames, one every minute; `at(i)` says what differs from a plain one. */
export function drawNight(frames: number, at: (i: number) => Partial<NightFrame>): Uint8Array[] {
  let state = 97;
  const uniform = () => (state = (state * 16807) % 2147483647) / 2147483647;
  const normal = () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
  const stars = Array.from({ length: 90 }, () => ({
    x: WIDTH * (1.3 * uniform() - 0.15),
    y: HEIGHT * (1.3 * uniform() - 0.15),
    flux: 9000 * 25 ** uniform(),
  }));
  return Array.from({ length: frames }, (_, i) => {
    const frame = { ...PLAIN, ...at(i) };
    const light = new Float64Array(WIDTH * HEIGHT).fill(frame.skyAdu);
    const [long, wide] = [
      frame.sigmaPx * Math.sqrt(frame.elongation),
      frame.sigmaPx / Math.sqrt(frame.elongation),
    ];
    for (const { x: left, y: top, share, of } of stars
      .slice(0, frame.stars)
      .flatMap((star) => spots(star, frame))) {
      const [cx, cy] = [left + frame.xPx, top + frame.yPx];
      const reach = Math.ceil(5 * long);
      const peak = (of * share * frame.light) / (2 * Math.PI * long * wide);
      for (let y = Math.max(0, Math.floor(cy) - reach); y <= Math.min(HEIGHT - 1, cy + reach); y++)
        for (let x = Math.max(0, Math.floor(cx) - reach); x <= Math.min(WIDTH - 1, cx + reach); x++)
          light[y * WIDTH + x] += peak * Math.exp(-(((x - cx) / long) ** 2) / 2 - ((y - cy) / wide) ** 2 / 2);
    }
    // A gain of one electron per ADU: the noise is that of the light and of a quiet readout, over an offset.
    const pixels = Uint16Array.from(light, (value) =>
      Math.round(Math.min(65535, 500 + value + Math.sqrt(value + 9) * normal())),
    );
    const start = new Date(START + 60_000 * i).toISOString().slice(0, 19);
    return writeFits16(pixels, WIDTH, HEIGHT, [
      ['DATE-OBS', start],
      ...frame.cards,
      ['EXPTIME', 40],
      ['EGAIN', 1, 'electrons per ADU'],
    ]);
  });
}

/** A star's light in spots: one where it stood, and one in each half pixel of the way that it ran. */
function spots({ x, y, flux }: { x: number; y: number; flux: number }, { ran }: NightFrame) {
  const stood = { x, y, of: flux, share: 1 - (ran?.share ?? 0) };
  if (!ran) return [stood];
  const count = Math.ceil(2 * Math.hypot(ran.xPx, ran.yPx));
  return [
    stood,
    ...Array.from({ length: count }, (_, i) => {
      const at = (i + 0.5) / count;
      return { x: x + at * ran.xPx, y: y + at * ran.yPx, of: flux, share: ran.share / count };
    }),
  ];
}

/** The same as files on disk: they keep their date, by which the page knows them again. Gives their paths. */
export function writeNight(frames: number, at: (i: number) => Partial<NightFrame> = () => ({})): string[] {
  const folder = mkdtempSync(join(tmpdir(), 'night-'));
  return drawNight(frames, at).map((bytes, i) => {
    const path = join(folder, `night-${String(i).padStart(3, '0')}.fits`);
    writeFileSync(path, bytes);
    return path;
  });
}
