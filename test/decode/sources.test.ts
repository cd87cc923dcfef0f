import { mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { nodeSource } from '../../bin/node-source.ts';
import { ByteReader } from '../../workers/decode/bytes.ts';
import { bytesSource, fileSource } from '../../workers/decode/sources.ts';
import type { Source } from '../../workers/protocol/source.ts';

const bytes = Uint8Array.from({ length: 2_500_000 }, (_, i) => (i * 31 + (i >> 8)) & 255);
let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'cornerwise-'));
  writeFileSync(join(folder, 'frame.fits'), bytes);
});
afterAll(() => rmSync(folder, { recursive: true }));

async function onDisk(): Promise<Source> {
  const outcome = await nodeSource(join(folder, 'frame.fits'));
  if (!outcome.ok) throw new Error(outcome.fault.message);
  return outcome.value;
}

async function all(source: Source, from?: number): Promise<Buffer> {
  const pieces: Uint8Array[] = [];
  for await (const piece of source.stream(undefined, from)) pieces.push(piece.slice());
  return Buffer.concat(pieces);
}

describe.each<[string, () => Promise<Source>]>([
  ['bytes', async () => bytesSource('frame.fits', bytes)],
  ['a File', async () => fileSource(new File([bytes], 'frame.fits'))],
  ['a file on disk', onDisk],
])('%s as a source', (_, make) => {
  test('streams every byte, from the start or from any place', async () => {
    const source = await make();
    expect(source).toMatchObject({ name: 'frame.fits', sizeBytes: bytes.length });
    expect((await all(source)).equals(bytes)).toBe(true);
    expect((await all(source, 1_234_567)).equals(bytes.subarray(1_234_567))).toBe(true);
    expect((await all(source, bytes.length)).length).toBe(0);
  });

  test('reads a part, shorter at the end', async () => {
    const source = await make();
    expect([...(await source.read(1000, 1010))]).toEqual([...bytes.subarray(1000, 1010)]);
    expect((await source.read(bytes.length - 3, bytes.length + 9)).length).toBe(3);
  });

  test('rejects with an AbortError when told to stop', async () => {
    const source = await make();
    const stopped = AbortSignal.abort();
    await expect(source.read(0, 10, stopped)).rejects.toMatchObject({ name: 'AbortError' });
    const control = new AbortController();
    const reading = (async () => {
      for await (const piece of source.stream(control.signal)) if (piece.length) control.abort();
    })();
    await expect(reading).rejects.toMatchObject({ name: 'AbortError' });
  });

  test('a reader peeks, takes, skips far and near, and pumps', async () => {
    const reader = new ByteReader(await make(), bytes.length);
    const want = (at: number, count: number) => [...bytes.subarray(at, at + count)];
    expect([...(await reader.peek(5))]).toEqual(want(0, 5));
    expect([...(await reader.take(5))]).toEqual(want(0, 5));
    expect(await reader.skip(1_300_000)).toBe(true);
    expect([...(await reader.take(5))]).toEqual(want(1_300_005, 5));
    const got: number[] = [];
    expect(await reader.pump(7, (piece) => got.push(...piece))).toBe(7);
    expect(got).toEqual(want(1_300_010, 7));
    expect(await reader.skip(9e12)).toBe(false);
    expect((await reader.take(5)).length).toBe(0);
    await reader.close();
  });
});

test('a File of many slices comes whole and in order', async () => {
  // Every four bytes hold their own place: 41 MB are more slices than are under way at a time.
  const numbers = Uint32Array.from({ length: 10_300_000 }, (_, i) => i);
  const large = Buffer.from(numbers.buffer);
  expect((await all(fileSource(new File([large], 'large.fits')))).equals(large)).toBe(true);
});

test('a jump over a large gap opens the file behind it', async () => {
  const opened: number[] = [];
  const origin = {
    async *stream(_?: AbortSignal, from = 0) {
      opened.push(from);
      for (let at = from; at < 20e6; at += 1e6) yield new Uint8Array(1e6).fill(at / 1e6);
    },
  };
  const reader = new ByteReader(origin, 20e6);
  await reader.take(10);
  expect(await reader.skip(15e6)).toBe(true);
  expect((await reader.take(1)).length).toBe(1);
  expect(opened).toEqual([0, 15e6 + 10]);
  const unpacked = new ByteReader(origin, null); // cannot be jumped about in
  expect(await unpacked.skip(15e6)).toBe(true);
  expect([...(await unpacked.take(1))]).toEqual([15]);
  expect(opened.length).toBe(3);
  await unpacked.close();
});

describe('what is no readable file has a sentence', () => {
  const faultOf = async (path: string) => {
    const outcome = await nodeSource(path);
    return outcome.ok ? null : outcome.fault;
  };
  test('a folder', async () => {
    expect(await faultOf(folder)).toMatchObject({
      code: 'cannot-read',
      message: expect.stringMatching(/is a folder/),
    });
  });
  test('a missing file', async () => {
    expect(await faultOf(join(folder, 'none.fits'))).toMatchObject({
      message: expect.stringMatching(/does not exist/),
    });
    expect(await faultOf(join(folder, 'frame.fits', 'x'))).toMatchObject({ code: 'cannot-read' });
  });
  test('a link in a circle', async () => {
    symlinkSync(join(folder, 'b'), join(folder, 'a'));
    symlinkSync(join(folder, 'a'), join(folder, 'b'));
    expect(await faultOf(join(folder, 'a'))).toMatchObject({ message: expect.stringMatching(/circle/) });
  });
  test('a device', async () => {
    expect(await faultOf('/dev/null')).toMatchObject({ message: expect.stringMatching(/no ordinary file/) });
  });
  test('a file that vanishes before it is read', async () => {
    const path = join(folder, 'gone.fits');
    writeFileSync(path, bytes);
    const outcome = await nodeSource(path);
    rmSync(path);
    if (!outcome.ok) throw new Error('it was there');
    await expect(all(outcome.value)).rejects.toThrow(/does not exist/);
  });
});
