import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { Keep } from '../../src/keep/keep.ts';
import { weighKinds } from '../../src/keep/kinds.ts';
import { Settings } from '../../src/keep/settings.ts';
import { Shelf } from '../../src/keep/shelf.ts';

/** Every test has a browser of its own: an empty database and an empty local storage. */
beforeEach(() => {
  vi.stubGlobal('indexedDB', new IDBFactory());
  const old = new Map<string, string>();
  vi.stubGlobal('localStorage', {
    getItem: (key: string) => old.get(key) ?? null,
    setItem: (key: string, text: string) => old.set(key, text),
    removeItem: (key: string) => old.delete(key),
  });
});
afterEach(() => vi.unstubAllGlobals());

const run = (name: string) => ({ name, about: null });
const names = async (shelf: Shelf<'runs'>) => (await shelf.newest()).map(({ name }) => name);

test('records come back newest first, and only as many as the shelf holds', async () => {
  const keep = new Keep();
  const shelf = new Shelf('runs', keep, 3);
  const ids: (number | null)[] = [];
  for (const name of ['a', 'b', 'c', 'd', 'e']) ids.push(await shelf.add(run(name)));
  expect(await names(shelf)).toEqual(['e', 'd', 'c']);
  expect(shelf.dropped.value).toBe(2);
  expect(await shelf.get(ids[0]!)).toBeNull();
  expect((await shelf.get(ids[4]!))!.name).toBe('e');
  expect(keep.trouble.value).toBeNull();
});

test('a record can be changed, forgotten and brought back, but not changed once forgotten', async () => {
  const shelf = new Shelf('runs', new Keep());
  const id = (await shelf.add(run('first')))!;
  const record = (await shelf.get(id))!;
  expect(await shelf.update({ ...record, name: 'renamed' })).toBe(true);
  expect(await names(shelf)).toEqual(['renamed']);
  await shelf.forget(id);
  expect(await shelf.update(record)).toBe(false);
  expect(await names(shelf)).toEqual([]);
  expect(await shelf.restore(record)).toBe(true);
  expect(await names(shelf)).toEqual(['first']);
});

test('records of another format are left out, not choked on', async () => {
  const keep = new Keep();
  const shelf = new Shelf('runs', keep);
  await shelf.add(run('today'));
  await keep.within((database) =>
    database.put('runs', { id: 99, format: 2, keptAtMs: 0, name: 'of a later page', about: {} } as never),
  );
  expect(await names(shelf)).toEqual(['today']);
});

test('where opening fails everything answers, nothing is kept, and the reason is told', async () => {
  vi.stubGlobal('indexedDB', {
    open: () => {
      throw new DOMException('The operation is insecure.', 'SecurityError');
    },
  });
  const keep = new Keep();
  const shelf = new Shelf('runs', keep);
  expect(await shelf.add(run('a'))).toBeNull();
  expect(await shelf.newest()).toEqual([]);
  expect(await keep.forgetEverything()).toBe(false);
  expect(keep.trouble.value).toBe('refused');
});

test('a database that never answers is given up on', async () => {
  vi.stubGlobal('indexedDB', { open: () => Reflect.construct(IDBOpenDBRequest, []) as unknown });
  const keep = new Keep(20);
  expect(await new Shelf('runs', keep).newest()).toEqual([]);
  expect(keep.trouble.value).toBe('busy');
});

test('a full disk costs the older half; if that does not help the newest is not kept, and the reason is told', async () => {
  const keep = new Keep();
  const shelf = new Shelf('runs', keep, 4);
  for (const name of ['a', 'b', 'c', 'd']) await shelf.add(run(name));
  const put = IDBObjectStore.prototype.put;
  const fullFor = (times: number) =>
    vi.spyOn(IDBObjectStore.prototype, 'put').mockImplementation(function (this: IDBObjectStore, ...given) {
      if (times-- > 0) throw new DOMException('No room.', 'QuotaExceededError');
      return put.apply(this, given);
    });
  fullFor(1);
  expect(await shelf.add(run('e'))).not.toBeNull();
  expect(await names(shelf)).toEqual(['e', 'd', 'c']);
  expect(keep.trouble.value).toBeNull();

  const spy = fullFor(Infinity);
  expect(await shelf.add(run('f'))).toBeNull();
  expect(keep.trouble.value).toBe('full');
  expect((await names(shelf))[0]).toBe('e');
  spy.mockRestore();
  await shelf.add(run('g'));
  expect(keep.trouble.value).toBeNull();
});

test('settings outlive the page, and come in from local storage once', async () => {
  localStorage.setItem('cornerwise.preferences', '{"light":"red"}');
  localStorage.setItem('cornerwise.rig', '3');
  const first = new Settings(new Keep());
  await first.read();
  expect(first.get('preferences')).toEqual({ light: 'red' });
  expect(first.get('rig')).toBe('3');
  expect(localStorage.getItem('cornerwise.preferences')).toBeNull();
  first.set('rig', null);
  first.set('preferences', { light: 'paper' });

  const keep = new Keep();
  const second = new Settings(keep);
  await second.read();
  expect(second.get('preferences')).toEqual({ light: 'paper' });
  expect(second.get('rig')).toBeNull();

  expect(await keep.forgetEverything()).toBe(true);
  second.set('rig', '1');
  const third = new Settings(new Keep());
  await third.read();
  expect([third.get('preferences'), third.get('rig')]).toEqual([null, null]);
});

test('settings that could not be read are not overwritten', async () => {
  const before = new Settings(new Keep());
  await before.read();
  before.set('rigs', 'three rigs');
  await new Keep().within(() => Promise.resolve());

  const real = indexedDB;
  vi.stubGlobal('indexedDB', { open: () => Reflect.construct(IDBOpenDBRequest, []) as unknown });
  const blind = new Settings(new Keep(20));
  await blind.read();
  vi.stubGlobal('indexedDB', real);
  blind.set('rigs', 'none');
  expect(blind.get('rigs')).toBe('none');

  const after = new Settings(new Keep());
  await after.read();
  expect(after.get('rigs')).toBe('three rigs');
});

test('everything is forgotten and brought back as it was; in between nothing is kept', async () => {
  const keep = new Keep();
  const shelf = new Shelf('runs', keep);
  const settings = new Settings(keep);
  await settings.read();
  settings.set('rigs', 'three rigs');
  const id = await shelf.add(run('first'));
  const before = (await keep.contents())!;

  expect(await keep.forgetEverything()).toBe(true);
  expect(await shelf.add(run('second'))).toBeNull();
  expect((await new Keep().contents())!.every(({ values }) => values.length === 0)).toBe(true);

  expect(await keep.bringBack(before)).toBe(true);
  expect(await new Keep().contents()).toEqual(before);
  expect((await shelf.get(id!))!.name).toBe('first');
  expect(await shelf.add(run('third'))).toBeGreaterThan(id!);
});

test('kinds are weighed by what lies in them, settings by whom they belong to', () => {
  const weighed = weighKinds([
    { store: 'settings', keys: ['rigs', 'preferences', 'told'], values: ['ééé', { light: 'red' }, {}] },
    { store: 'runs', keys: [1], values: [{ id: 1 }] },
    { store: 'runFrames', keys: [1, 2], values: [{ a: new Float32Array(10) }, { a: new Uint8Array(3) }] },
    { store: 'frames', keys: [], values: [] },
  ]);
  // UTF-8 (RFC 3629): two bytes for each é. Numbers are doubles, arrays their bytes, names their letters.
  expect(weighed.map(({ kind, amount, bytes }) => [kind.id, amount, bytes])).toEqual([
    ['preferences', 2, 'light'.length + 'red'.length],
    ['rigs', 1, 6],
    ['runs', 1, 'id'.length + 8 + 1 + 40 + 1 + 3],
  ]);
});
