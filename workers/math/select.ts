/** Below this many values a plain insertion sort is the fastest. */
const FEW = 24;

/** Reorders the first `count` values so that the k-th smallest (k from 0) stands at k: none above it before, none below it behind. */
export function select(values: Float64Array, count: number, k: number): void {
  let [low, high] = [0, count - 1];
  // Hoare's selection, pivot the middle of three.
  while (high - low >= FEW) {
    const pivot = middleOf(values[low], values[(low + high) >> 1], values[high]);
    let [i, j] = [low, high];
    while (i <= j) {
      while (values[i] < pivot) i++;
      while (values[j] > pivot) j--;
      if (i > j) break;
      const held = values[i];
      values[i++] = values[j];
      values[j--] = held;
    }
    if (k <= j) high = j;
    else if (k >= i) low = i;
    else return;
  }
  for (let i = low + 1; i <= high; i++) insert(values, low, i);
}

const middleOf = (a: number, b: number, c: number) => Math.max(Math.min(a, b), Math.min(Math.max(a, b), c));

/** Moves the value at `at` down among those from `low` on, which are sorted. */
function insert(values: Float64Array, low: number, at: number): void {
  const value = values[at];
  for (; at > low && values[at - 1] > value; at--) values[at] = values[at - 1];
  values[at] = value;
}

/** Medians of all stretches of `width` neighbours: n + 1 - width of them. No NaN. */
export function runningMedians(values: ArrayLike<number>, width: number): Float64Array {
  const medians = new Float64Array(width > 0 ? Math.max(0, values.length + 1 - width) : 0);
  const sorted = Float64Array.from({ length: width }, (_, i) => values[i]).sort();
  const [below, above] = [(width - 1) >> 1, width >> 1];
  for (let first = 0; first < medians.length; first++) {
    medians[first] = (sorted[below] + sorted[above]) / 2;
    if (first + width === values.length) break;
    // The oldest makes room for the next.
    let at = sorted.indexOf(values[first]);
    for (; at + 1 < width; at++) sorted[at] = sorted[at + 1];
    sorted[width - 1] = values[first + width];
    insert(sorted, 0, width - 1);
  }
  return medians;
}
