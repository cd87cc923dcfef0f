import { expect, test } from 'vitest';
import type { Painter } from '../../src/viewer/painter.ts';
import { TileStore } from '../../src/viewer/tile-store.ts';
import type { FrameView, Tile } from '../../workers/protocol/api.ts';
import { failure, success, type Outcome } from '../../workers/protocol/faults.ts';

const view: FrameView = {
  tilePx: 256,
  levels: [
    { widthPx: 1024, heightPx: 1024 },
    { widthPx: 512, heightPx: 512 },
    { widthPx: 256, heightPx: 256 },
  ],
  channels: 1,
  blackAdu: 0,
  skyAdu: 0,
  noiseAdu: 1,
  whiteAdu: 1,
};

/** A store whose worker answers when the test says so. */
function setUp(samples = 4) {
  const pending = new Map<string, (answer: Outcome<Tile>) => void>();
  const log: string[] = [];
  const painter: Painter = {
    load: (key) => void log.push(`load ${key}`),
    drop: (key) => void log.push(`drop ${key}`),
    draw: () => {},
    end: () => {},
  };
  const store = new TileStore(
    view,
    painter,
    (level, col, row) => new Promise((resolve) => pending.set(`${level}/${col}/${row}`, resolve)),
    () => void log.push('changed'),
  );
  const answer = async (key: string, ok = true) => {
    const [level, col, row] = key.split('/').map(Number);
    const values = { length: samples } as unknown as Uint16Array;
    const tile = { level, col, row, widthPx: 2, heightPx: 2, channels: 1, values, lowAdu: 0, highAdu: 1 };
    pending.get(key)!(ok ? success(tile as Tile) : failure('internal', 'gone'));
    pending.delete(key);
    await Promise.resolve();
    await Promise.resolve();
  };
  return { store, pending, log, answer };
}
const at = (level: number, col: number, row: number) => ({ level, col, row });

test('a missing tile is stood in for by the nearest coarser one, drawn first', async () => {
  const { store, answer } = setUp();
  expect(store.use([at(2, 0, 0)])).toEqual([]);
  await answer('2/0/0');
  expect(store.use([at(0, 1, 1), at(0, 2, 3)])).toEqual([at(2, 0, 0)]);
  await answer('0/1/1');
  expect(store.use([at(0, 1, 1), at(0, 2, 3)])).toEqual([at(2, 0, 0), at(0, 1, 1)]);
  await answer('0/2/3');
  expect(store.use([at(0, 1, 1), at(0, 2, 3)])).toEqual([at(0, 1, 1), at(0, 2, 3)]);
});

test('few tiles are under way at a time, and the newest wish is served first', async () => {
  const { store, pending, answer } = setUp();
  store.use([at(0, 0, 0), at(0, 1, 0), at(0, 2, 0), at(0, 3, 0)]);
  expect([...pending.keys()]).toEqual(['0/0/0', '0/1/0', '0/2/0']);
  store.use([at(0, 3, 3)]);
  await answer('0/0/0');
  expect([...pending.keys()]).toEqual(['0/1/0', '0/2/0', '0/3/3']);
});

test('a resident tile is neither asked for nor loaded again', async () => {
  const { store, pending, log, answer } = setUp();
  store.use([at(0, 0, 0)]);
  await answer('0/0/0');
  for (let i = 0; i < 5; i++) store.use([at(0, 0, 0)]);
  expect(pending.size).toBe(0);
  expect(log.filter((entry) => entry === 'load 0/0/0')).toHaveLength(1);
});

test('what was used longest ago makes room', async () => {
  const { store, log, answer } = setUp(10e6);
  for (const key of ['0/0/0', '0/1/0']) {
    store.use([at(0, Number(key[2]), 0)]);
    await answer(key);
  }
  store.use([at(0, 0, 0)]);
  store.use([at(0, 2, 0)]);
  await answer('0/2/0');
  expect(log.filter((entry) => entry.startsWith('drop'))).toEqual(['drop 0/1/0']);
});

test('a refused tile is not asked for again; an ended store hears nothing', async () => {
  const { store, pending, log, answer } = setUp();
  store.use([at(0, 0, 0)]);
  await answer('0/0/0', false);
  store.use([at(0, 0, 0)]);
  expect(pending.size).toBe(0);
  expect(log).toEqual([]);
  store.use([at(0, 1, 0)]);
  store.end();
  await answer('0/1/0');
  expect(log).toEqual([]);
});
