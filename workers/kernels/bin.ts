// Block averages, for detection at the scale of large stars.

/**
 * Averages blocks of `factor` x `factor` pixels into f32 (width/factor x height/factor, rounded down). Only pixels of
 * the sites (see mesh.ts) count; NaN and values at `saturation` and above count as they are, NaN is left out.
 */
export function binU16(pixels: usize, width: i32, height: i32, factor: i32, sites: i32, out: usize): void {
  bin<u16>(pixels, width, height, factor, sites, out);
}

export function binF32(pixels: usize, width: i32, height: i32, factor: i32, sites: i32, out: usize): void {
  bin<f32>(pixels, width, height, factor, sites, out);
}

// @ts-ignore: decorator
@inline
function bin<T>(pixels: usize, width: i32, height: i32, factor: i32, sites: i32, out: usize): void {
  const cols = width / factor;
  const rows = height / factor;
  for (let row = 0; row < rows; row++) {
    for (let col = 0; col < cols; col++) {
      let sum: f32 = 0;
      let count: f32 = 0;
      for (let y = row * factor; y < (row + 1) * factor; y++) {
        const pair = (sites >> ((y & 1) << 1)) & 3;
        if (pair == 0) continue;
        for (let x = col * factor; x < (col + 1) * factor; x++) {
          if (((pair >> (x & 1)) & 1) == 0) continue;
          const value = <f32>load<T>(pixels + (<usize>y * <usize>width + <usize>x) * sizeof<T>());
          if (value == value) {
            sum += value;
            count += 1;
          }
        }
      }
      store<f32>(out + ((<usize>(row * cols + col)) << 2), count > 0 ? sum / count : f32.NaN);
    }
  }
}
