import { describe, expect, it } from 'vitest';
import { writeFits16 } from '../../workers/simulate/fits.ts';

const text = (bytes: Uint8Array) => String.fromCharCode(...bytes);

// Byte layout of FITS Standard 4.0: 2880-byte blocks, 80-character cards, big-endian two's complement.
describe('FITS writer', () => {
  const pixels = Uint16Array.of(0, 1, 32767, 32768, 65535, 7);
  const file = writeFits16(pixels, 3, 2, [
    ['EXPTIME', 2.5, 'seconds'],
    ['OBSERVER', "O'Hara"],
    ['DITHERED', false],
  ]);

  it('pads header and data to whole blocks', () => {
    expect(file.length).toBe(2 * 2880);
    expect(text(file.subarray(0, 2880)).trimEnd().endsWith('END')).toBe(true);
    expect([...file.subarray(2880 + 12)].every((byte) => byte === 0)).toBe(true);
  });

  it('writes the mandatory cards first and values in fixed format', () => {
    const cards = text(file.subarray(0, 2880)).match(/.{80}/g)!;
    expect(cards[0].slice(0, 30)).toBe('SIMPLE  =                    T');
    expect(cards.slice(1, 5).map((card) => card.slice(0, 30))).toEqual([
      'BITPIX  =                   16',
      'NAXIS   =                    2',
      'NAXIS1  =                    3',
      'NAXIS2  =                    2',
    ]);
    expect(cards).toContain('EXPTIME =                  2.5 / seconds'.padEnd(80));
    expect(cards).toContain("OBSERVER= 'O''Hara '".padEnd(80));
    expect(cards).toContain('DITHERED=                    F'.padEnd(80));
  });

  it('stores unsigned values less 32768', () => {
    // The words that astropy 5.2 writes for uint16 0, 1, 32767, 32768, 65535.
    const hex = [...file.subarray(2880, 2890)].map((byte) => byte.toString(16).padStart(2, '0')).join('');
    expect(hex).toBe('80008001ffff00007fff');
  });

  it('refuses what a card cannot hold', () => {
    expect(() => writeFits16(pixels, 2, 2)).toThrow('6 pixels');
    expect(() => writeFits16(pixels, 3, 2, [['too long', 1]])).toThrow('no FITS keyword');
    expect(() => writeFits16(pixels, 3, 2, [['TEXT', 'x'.repeat(90)]])).toThrow('does not fit');
    expect(() => writeFits16(pixels, 3, 2, [['TEXT', 'µm']])).toThrow('characters');
    expect(() => writeFits16(pixels, 3, 2, [['NUMBER', NaN]])).toThrow('finite');
  });
});
