const COLS = 6;
const ROWS = 4;

/**
 * Order in which stars enter the fit: cells of the field take turns, each giving its star of best signal to noise, so
 * that any beginning of the list covers the field.
 */
export function spreadOrder(
  xi: Float64Array,
  eta: Float64Array,
  snr: Float64Array,
  usable: (star: number) => boolean,
): number[] {
  const cells = Array.from({ length: COLS * ROWS }, () => [] as number[]);
  let reachX = 1e-9;
  let reachY = 1e-9;
  for (let star = 0; star < xi.length; star++) {
    reachX = Math.max(reachX, Math.abs(xi[star]));
    reachY = Math.max(reachY, Math.abs(eta[star]));
  }
  const cell = (value: number, reach: number, count: number) =>
    Math.min(count - 1, Math.max(0, Math.floor(((value / reach + 1) / 2) * count)));
  for (let star = 0; star < xi.length; star++)
    if (usable(star)) cells[cell(eta[star], reachY, ROWS) * COLS + cell(xi[star], reachX, COLS)].push(star);
  for (const stars of cells) stars.sort((a, b) => snr[b] - snr[a]);
  // Corners and centre first within each turn: they carry most of what tells the terms apart.
  const order = cells.map((_, index) => index).sort((a, b) => rank(b) - rank(a));
  const chosen: number[] = [];
  for (let turn = 0; chosen.length < cells.reduce((sum, stars) => sum + stars.length, 0); turn++)
    for (const index of order) if (turn < cells[index].length) chosen.push(cells[index][turn]);
  return chosen;
}

/** Alternates far and near cells, all about the field. */
function rank(index: number): number {
  const x = Math.abs((index % COLS) - (COLS - 1) / 2);
  const y = Math.abs(Math.floor(index / COLS) - (ROWS - 1) / 2);
  const radius = Math.hypot(x / COLS, y / ROWS);
  return Math.abs(radius - 0.32) + 0.001 * ((index * 7) % 24);
}
