import { writeFits16, type FitsCard } from '../../workers/simulate/fits.ts';

/** Full width at half maximum of a Gaussian over its standard deviation: 2 sqrt(2 ln 2) (textbook). */
export const FWHM_PER_SIGMA = 2 * Math.sqrt(2 * Math.LN2);

export interface DrawnStar {
  xPx: number;
  yPx: number;
  sigmaPx: number;
  peakAdu: number;
}

export interface DrawnFrame {
  bytes: Uint8Array<ArrayBuffer>;
  pixels: Uint16Array;
  widthPx: number;
  heightPx: number;
  stars: DrawnStar[];
}

const SKY_ADU = 1000;
const NOISE_ADU = 6;

/**
 * A frame of round Gaussian stars on a jittered lattice, written with the simulator's FITS writer and nothing else of
 * it. The Gaussian is the profile as sampled, so 2.3548 sigma is its width as seen through the pixel.
 * `sigmaPx(u, v)`: standard deviation at a place, u and v running from -1 to 1 over the frame.
 */
export function drawFrame(
  sigmaPx: (u: number, v: number) => number,
  cards: FitsCard[] = [],
  [widthPx, heightPx] = [900, 600],
): DrawnFrame {
  let state = 4242;
  const uniform = () => (state = (state * 16807) % 2147483647) / 2147483647;
  const normal = () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
  const [columns, rows] = [15, 10];
  const stars: DrawnStar[] = [];
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++) {
      const xPx = ((column + 0.5 + 0.4 * (uniform() - 0.5)) / columns) * widthPx;
      const yPx = ((row + 0.5 + 0.4 * (uniform() - 0.5)) / rows) * heightPx;
      const sigma = sigmaPx((2 * xPx) / widthPx - 1, (2 * yPx) / heightPx - 1);
      stars.push({ xPx, yPx, sigmaPx: sigma, peakAdu: 800 * 20 ** uniform() });
    }
  const light = Float64Array.from({ length: widthPx * heightPx }, () => SKY_ADU + NOISE_ADU * normal());
  for (const star of stars) addStar(light, widthPx, heightPx, star);
  const pixels = Uint16Array.from(light, (value) => Math.round(Math.min(65535, Math.max(0, value))));
  return { bytes: writeFits16(pixels, widthPx, heightPx, cards), pixels, widthPx, heightPx, stars };
}

function addStar(light: Float64Array, widthPx: number, heightPx: number, star: DrawnStar): void {
  const { xPx, yPx, sigmaPx, peakAdu } = star;
  const reach = Math.ceil(6 * sigmaPx);
  for (let y = Math.max(0, Math.floor(yPx) - reach); y <= Math.min(heightPx - 1, yPx + reach); y++)
    for (let x = Math.max(0, Math.floor(xPx) - reach); x <= Math.min(widthPx - 1, xPx + reach); x++)
      light[y * widthPx + x] +=
        peakAdu * Math.exp(-((x - xPx) ** 2 + (y - yPx) ** 2) / (2 * sigmaPx * sigmaPx));
}

/** The same pixels as a baseline TIFF (TIFF 6.0: little-endian, one strip, 16 bit), which says nothing of a camera. */
export function asTiff(pixels: Uint16Array, widthPx: number, heightPx: number): Uint8Array<ArrayBuffer> {
  const [SHORT, LONG] = [3, 4];
  const tags: [tag: number, type: number, value: number][] = [
    [256, LONG, widthPx],
    [257, LONG, heightPx],
    [258, SHORT, 16],
    [259, SHORT, 1],
    [262, SHORT, 1],
    [273, LONG, 8],
    [277, SHORT, 1],
    [278, LONG, heightPx],
    [279, LONG, 2 * pixels.length],
  ];
  const at = 8 + 2 * pixels.length;
  const view = new DataView(new ArrayBuffer(at + 2 + 12 * tags.length + 4));
  view.setUint32(0, 0x002a4949, true);
  view.setUint32(4, at, true);
  pixels.forEach((value, i) => view.setUint16(8 + 2 * i, value, true));
  view.setUint16(at, tags.length, true);
  tags.forEach(([tag, type, value], i) => {
    const entry = at + 2 + 12 * i;
    view.setUint16(entry, tag, true);
    view.setUint16(entry + 2, type, true);
    view.setUint32(entry + 4, 1, true);
    view.setUint32(entry + 8, value, true);
  });
  return new Uint8Array(view.buffer);
}

/** Stars that widen from the centre outwards. */
export const widening = () => drawFrame((u, v) => 1.4 + 0.45 * (u * u + v * v));
/** The same width everywhere, 0.5 pixels wider than the centre of the other. */
export const even = () => drawFrame(() => 1.9);
