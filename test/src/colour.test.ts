import { expect, test } from 'vitest';
import { sideColour, widthColour } from '../../src/charts/colour.ts';

const STEPS = 33;
const SCALES = {
  'the scale of sizes': Array.from({ length: STEPS }, (_, i) => rgbOf(widthColour(0, 1)(i / (STEPS - 1)))),
  'the scale about zero': Array.from({ length: STEPS }, (_, i) =>
    rgbOf(sideColour(1)((2 * i) / (STEPS - 1) - 1)),
  ),
};
const each = Object.entries(SCALES);

function rgbOf(text: string): number[] {
  return text.match(/\d+/g)!.map(Number);
}
const linear = (byte: number) =>
  byte / 255 <= 0.04045 ? byte / 255 / 12.92 : ((byte / 255 + 0.055) / 1.055) ** 2.4;
/** CIE 1976 lightness of sRGB (IEC 61966-2-1, CIE 15). */
function lightness(rgb: number[]): number {
  const y = 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2];
  return y > 216 / 24389 ? 116 * Math.cbrt(y) - 16 : (24389 / 27) * y;
}

test.each(each)('%s: equal steps of the value are equal steps of lightness', (_, colours) => {
  const l = colours.map((rgb) => lightness(rgb.map(linear)));
  const step = (l[STEPS - 1] - l[0]) / (STEPS - 1);
  expect(step).toBeGreaterThan(2);
  // A byte is up to 0.4 in L*; interpolation in Lab keeps the steps within that.
  for (let i = 1; i < STEPS; i++) expect(Math.abs(l[i] - l[i - 1] - step)).toBeLessThan(0.6);
});

test.each(each)('%s: under red light alone the order stays', (_, colours) => {
  for (let i = 1; i < STEPS; i++) expect(colours[i][0]).toBeGreaterThan(colours[i - 1][0]);
});

test.each(each)('%s: colour-blind eyes see the same order in steps as large', (_, colours) => {
  // Machado, Oliveira & Fernandes 2009, severity 1, linear RGB; values from memory.
  const EYES = [
    [0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998],
    [0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.01182, 0.04294, 0.968881],
    [1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.3039],
  ];
  for (const m of EYES) {
    const seen = colours.map((rgb) => {
      const [r, g, b] = rgb.map(linear);
      const row = (k: number) => Math.max(0, m[k] * r + m[k + 1] * g + m[k + 2] * b);
      return lightness([row(0), row(3), row(6)]);
    });
    const step = (seen[STEPS - 1] - seen[0]) / (STEPS - 1);
    for (let i = 1; i < STEPS; i++) expect(seen[i] - seen[i - 1]).toBeGreaterThan(0.5 * step);
  }
});
