import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import type { RunFrame } from '../../workers/protocol/run.ts';
import { Keep } from '../../src/keep/keep.ts';
import { RunMemory } from '../../src/keep/run-memory.ts';
import { RunShelf, type RunAbout } from '../../src/keep/run-shelf.ts';
import { MOST } from '../../src/keep/schema.ts';

beforeEach(() => vi.stubGlobal('indexedDB', new IDBFactory()));
afterEach(() => vi.unstubAllGlobals());

const frame = (name: string): RunFrame => ({
  format: 1,
  name,
  sizeBytes: 1,
  changedMs: 0,
  record: null,
  fault: null,
  sky: null,
});
const told = (headline: string, measured: number): RunAbout['told'] => ({
  headline,
  fromMs: 1,
  toMs: 2,
  firstFile: 'a.fits',
  measured,
});
const filesOf = async (shelf: RunShelf, id: number) =>
  (await shelf.get(id))?.frames.map(({ name }) => name) ?? null;
const pause = () => new Promise((done) => setTimeout(done, 3));

test('runs are listed by when they were last seen, with what they said and how many frames are kept', async () => {
  const shelf = new RunShelf(new Keep());
  const [first, second] = [(await shelf.begin('one'))!, (await shelf.begin('two'))!];
  for (const name of ['a', 'b', 'c']) await shelf.addFrame(first, frame(name));
  await shelf.addFrame(second, frame('d'));
  await pause();
  await shelf.remember(first, { told: told('Steady.', 4) });
  const list = await shelf.list();
  expect(list.map(({ name, frames }) => [name, frames])).toEqual([
    ['one', 3],
    ['two', 1],
  ]);
  expect(list[0].told).toEqual(told('Steady.', 4));
  expect((await shelf.newest())!.id).toBe(first);
  expect(await filesOf(shelf, second)).toEqual(['d']);
});

test('a forgotten run takes its frames along and comes back whole', async () => {
  const keep = new Keep();
  const shelf = new RunShelf(keep);
  const [first, second] = [(await shelf.begin('one'))!, (await shelf.begin('two'))!];
  for (const name of ['a', 'b']) await shelf.addFrame(first, frame(name));
  await shelf.addFrame(second, frame('c'));
  const back = (await shelf.forget(first))!;
  expect(await shelf.get(first)).toBeNull();
  expect((await keep.contents(['runFrames']))![0].values).toHaveLength(1);
  await back();
  expect(await filesOf(shelf, first)).toEqual(['a', 'b']);
  expect(await shelf.forget(99)).toBeNull();
});

test('when there are too many runs the oldest goes, and its frames with it', async () => {
  const keep = new Keep();
  const shelf = new RunShelf(keep);
  const ids: number[] = [];
  for (let i = 0; i <= MOST.runs; i++) {
    ids.push((await shelf.begin(`run ${i}`))!);
    await shelf.addFrame(ids[i], frame(`f${i}`));
  }
  expect(await shelf.list()).toHaveLength(MOST.runs);
  expect(await shelf.get(ids[0])).toBeNull();
  const owners = (await keep.contents(['runFrames']))![0].values.map(
    (each) => (each as { runId: number }).runId,
  );
  expect(owners).toEqual(ids.slice(1));
});

test('a run that was put away does not come back by itself, but opens from the list', async () => {
  const shelf = new RunShelf(new Keep());
  let about: Partial<RunAbout> = { words: { a: 'drop' }, positions: { a: 1.5 }, focusUnit: 'turns' };
  const memory = new RunMemory(shelf, () => about);
  memory.begin('night');
  const id = (await memory.id)!;
  memory.add(frame('a'));
  memory.remember('by-and-by');
  // What was not yet written is written before the run leaves.
  const gone = memory.letGo(false);
  about = { words: {} };
  await gone;
  expect(await memory.id).toBeNull();
  expect(await shelf.newest()).toBeNull();
  const kept = (await shelf.get(id))!;
  expect(kept.about).toMatchObject({ words: { a: 'drop' }, positions: { a: 1.5 }, focusUnit: 'turns' });
  memory.adopt(id);
  await memory.write();
  expect((await shelf.newest())!.id).toBe(id);
  await memory.letGo(true);
  expect(await shelf.list()).toEqual([]);
});

test('a run kept before the list was thought of is listed, and opens', async () => {
  const keep = new Keep();
  const shelf = new RunShelf(keep);
  await keep.within((database) =>
    database.add('runs', {
      format: 1,
      keptAtMs: 5,
      name: 'old',
      about: { words: { k: 'keep' }, limits: {}, waiting: [] },
    } as never),
  );
  const [brief] = await shelf.list();
  expect(brief).toMatchObject({ name: 'old', frames: 0, told: null, seenMs: 5 });
  expect((await shelf.get(brief.id))!.about).toMatchObject({ words: { k: 'keep' }, positions: {} });
});
