import { describe, expect, it } from 'vitest';
import { complexMatrix, FFT_LENGTHS, transformColumns, transposeInto } from '../../workers/simulate/fft.ts';
import { createRandom } from '../../workers/simulate/random.ts';

describe('Fourier transform', () => {
  // Against the defining sum, on random numbers; rounding grows like log(rows) times the machine's epsilon.
  it.each(FFT_LENGTHS.filter((n) => n <= 384).concat(1, 2, 3, 6, 12, 27))('columns of length %i', (rows) => {
    const cols = 3;
    const random = createRandom(rows);
    const input = complexMatrix(rows, cols);
    for (let i = 0; i < rows * cols; i++) {
      input.re[i] = random.normal();
      input.im[i] = random.normal();
    }
    const original = { re: input.re.slice(), im: input.im.slice() };
    const result = transformColumns(input, complexMatrix(rows, cols));
    let worst = 0;
    for (let c = 0; c < cols; c++) {
      for (let k = 0; k < rows; k++) {
        let [re, im] = [0, 0];
        for (let j = 0; j < rows; j++) {
          const phase = (-2 * Math.PI * ((j * k) % rows)) / rows;
          const [xr, xi] = [original.re[j * cols + c], original.im[j * cols + c]];
          re += xr * Math.cos(phase) - xi * Math.sin(phase);
          im += xr * Math.sin(phase) + xi * Math.cos(phase);
        }
        worst = Math.max(worst, Math.hypot(result.re[k * cols + c] - re, result.im[k * cols + c] - im));
      }
    }
    expect(worst).toBeLessThan(1e-12 * rows);
  });

  it('refuses lengths with other factors', () => {
    expect(() => transformColumns(complexMatrix(10, 1), complexMatrix(10, 1))).toThrow('products of 2 and 3');
  });

  it('transposes a corner of a matrix', () => {
    const from = complexMatrix(3, 4);
    from.re.set([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]);
    const to = complexMatrix(4, 4);
    transposeInto(from, 2, 3, to);
    expect([to.rows, to.cols]).toEqual([3, 2]);
    expect([...to.re.subarray(0, 6)]).toEqual([0, 4, 1, 5, 2, 6]);
  });
});
