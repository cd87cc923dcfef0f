/**
 * The k-th smallest of `count` f32 values at `address` (k from 0), by quickselect. The values are reordered.
 */
export function selectF32(address: usize, count: i32, k: i32): f32 {
  let low = 0;
  let high = count - 1;
  while (low < high) {
    const pivot = load<f32>(address + ((<usize>((low + high) >> 1)) << 2));
    let i = low;
    let j = high;
    while (i <= j) {
      while (load<f32>(address + ((<usize>i) << 2)) < pivot) i++;
      while (load<f32>(address + ((<usize>j) << 2)) > pivot) j--;
      if (i <= j) {
        const left = address + ((<usize>i) << 2);
        const right = address + ((<usize>j) << 2);
        const swap = load<f32>(left);
        store<f32>(left, load<f32>(right));
        store<f32>(right, swap);
        i++;
        j--;
      }
    }
    if (k <= j) high = j;
    else if (k >= i) low = i;
    else break;
  }
  return load<f32>(address + ((<usize>k) << 2));
}
