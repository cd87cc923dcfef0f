import { expect, test } from 'vitest';
import { FolderWatch, type WatchedFolder } from '../../src/client/folder-watch.ts';

/** A folder in memory whose files can grow. */
function folder(name: string, entries: Record<string, { size: number; at: number } | WatchedFolder>) {
  return {
    name,
    kind: 'directory',
    async *values() {
      for (const [key, entry] of Object.entries(entries)) {
        if ('values' in entry) yield entry;
        else
          yield {
            kind: 'file',
            name: key,
            getFile: async () => ({ name: key, size: entry.size, lastModified: entry.at }),
          };
      }
    },
  } as unknown as WatchedFolder;
}
const NOW = 1_800_000_000_000;
const watchOf = (entries: Parameters<typeof folder>[1]) =>
  new FolderWatch(folder('night', entries), { onFiles: () => {}, onLost: () => {}, now: () => NOW });
const look = async (watch: FolderWatch) => (await watch.look()).map(({ name }) => name);

test('a file is handed over once, when it has stopped growing', async () => {
  const growing = { size: 1000, at: NOW - 100 };
  const watch = watchOf({ 'a.fits': growing });
  expect(await look(watch)).toEqual([]);
  growing.size = 2000;
  expect(await look(watch)).toEqual([]);
  expect(await look(watch)).toEqual(['a.fits']);
  expect(await look(watch)).toEqual([]);
});

test('a file of last night is handed over at the first look', async () => {
  const watch = watchOf({ 'old.fits': { size: 5, at: NOW - 3_600_000 }, 'empty.fits': { size: 0, at: 0 } });
  expect(await look(watch)).toEqual(['old.fits']);
});

test('folders below are looked into, what is no frame is passed over', async () => {
  const at = NOW - 3_600_000;
  const watch = watchOf({
    'log.txt': { size: 5, at },
    '.hidden.fits': { size: 5, at },
    inner: folder('inner', { 'b.fits': { size: 5, at } }),
  });
  expect(await look(watch)).toEqual(['b.fits']);
});

test('a folder that cannot be read any more is told, once', async () => {
  const lost: unknown[] = [];
  const gone = {
    name: 'gone',
    async *values() {
      yield* [];
      throw new DOMException('gone', 'NotFoundError');
    },
  } as unknown as WatchedFolder;
  const watch = new FolderWatch(gone, { onFiles: () => {}, onLost: (e) => lost.push(e), everyMs: 1 });
  watch.start();
  await new Promise((go) => setTimeout(go, 30));
  expect(lost).toHaveLength(1);
});
