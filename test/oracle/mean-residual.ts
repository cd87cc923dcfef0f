/** A pixel from its star's centre, its residual in units of the star's flux, the variance of that, and its weight. */
export interface ResidualRecord {
  dx: number;
  dy: number;
  value: number;
  variance: number;
  weight: number;
}

interface Grid {
  middle: number;
  steps: number;
  discPx: number;
}

/** At each node the sum over records of `part`; a record's share is its weight times 1 - (distance / disc)². */
export function spread(
  records: ResidualRecord[],
  { middle, steps, discPx }: Grid,
  part: (record: ResidualRecord, share: number) => number,
): number[] {
  const side = 2 * middle + 1;
  return Array.from({ length: side * side }, (_, i) => {
    const x = ((i % side) - middle) / steps;
    const y = (Math.floor(i / side) - middle) / steps;
    return records.reduce((sum, record) => {
      const share = (1 - ((x - record.dx) ** 2 + (y - record.dy) ** 2) / discPx ** 2) * record.weight;
      return share > 0 ? sum + part(record, share) : sum;
    }, 0);
  });
}

/** Mean sum / weight at (dx, dy), linear between nodes, 0 where there is none. */
export function meanAt(
  sum: number[],
  weight: number[],
  { middle, steps }: Grid,
  dx: number,
  dy: number,
): number {
  const side = 2 * middle + 1;
  const node = (col: number, row: number) => {
    const i = row * side + col;
    return weight[i] > 0 ? sum[i] / weight[i] : 0;
  };
  const [x, y] = [dx * steps + middle, dy * steps + middle];
  const [col, row] = [Math.floor(x), Math.floor(y)];
  if (col < 0 || row < 0 || col + 1 >= side || row + 1 >= side) return 0;
  const [u, v] = [x - col, y - row];
  return (
    (1 - v) * ((1 - u) * node(col, row) + u * node(col + 1, row)) +
    v * ((1 - u) * node(col, row + 1) + u * node(col + 1, row + 1))
  );
}
