// PNG files with their chunks changed: header, order, lengths, and the rows within the packed data. The layout is that of
// ISO/IEC 15948; check sums are made right again, or a reader that heeds them would see nothing else.
import fc from 'fast-check';
import { readdirSync, readFileSync } from 'node:fs';
import { crc32, deflateSync, inflateSync } from 'node:zlib';
import { test } from 'vitest';
import { answers, checked } from './answers.ts';
import { edits, nastyNumber, overwritten, place, shuffled, shuffles, whole } from './mutate.ts';

interface Chunk {
  type: string;
  data: Uint8Array;
}

const folder = new URL('../../fixtures/decode/pictures/', import.meta.url);
const seed = fc.constantFrom(
  ...readdirSync(folder)
    .filter((name) => name.endsWith('.png'))
    .map((name) => {
      const bytes = new Uint8Array(readFileSync(new URL(name, folder)));
      return { bytes, chunks: chunksOf(bytes) };
    }),
);

function chunksOf(bytes: Uint8Array): Chunk[] {
  const view = new DataView(bytes.buffer, bytes.byteOffset);
  const chunks: Chunk[] = [];
  for (let at = 8; at + 8 <= bytes.length;) {
    const length = view.getUint32(at);
    const type = String.fromCharCode(...bytes.subarray(at + 4, at + 8));
    chunks.push({ type, data: bytes.subarray(at + 8, at + 8 + length) });
    at += 12 + length;
  }
  return chunks;
}

function pngOf(chunks: readonly Chunk[], lie?: { at: number; length: number }): Uint8Array {
  const parts = chunks.map(({ type, data }, i) => {
    const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
    const framed = Buffer.alloc(body.length + 8);
    framed.writeUInt32BE(lie && lie.at % chunks.length === i ? lie.length >>> 0 : data.length, 0);
    body.copy(framed, 4);
    framed.writeUInt32BE(crc32(body), body.length + 4);
    return framed;
  });
  return whole([Buffer.from('\x89PNG\r\n\x1a\n', 'latin1'), ...parts]);
}

const withData = (chunks: readonly Chunk[], type: string, change: (data: Uint8Array) => Uint8Array) =>
  chunks.map((chunk) => (chunk.type === type ? { type, data: change(chunk.data) } : chunk));

const judge = (bytes: Uint8Array) => answers(bytes, 'mutant.png');

test('bytes changed anywhere', () =>
  checked(fc.asyncProperty(seed, edits(20), ({ bytes }, list) => judge(overwritten(bytes, list)))));

test('the header says something else', () => {
  const header = fc.record({
    width: fc.option(nastyNumber, { freq: 2 }),
    height: fc.option(nastyNumber, { freq: 2 }),
    bits: fc.option(fc.constantFrom(0, 1, 2, 3, 4, 8, 16, 32), { freq: 2 }),
    colourType: fc.option(fc.nat({ max: 8 }), { freq: 2 }),
    interlace: fc.option(fc.nat({ max: 2 }), { freq: 2 }),
  });
  return checked(
    fc.asyncProperty(seed, header, ({ chunks }, said) =>
      judge(
        pngOf(
          withData(chunks, 'IHDR', (data) => {
            const bytes = Buffer.from(data);
            if (said.width !== null) bytes.writeUInt32BE(said.width, 0);
            if (said.height !== null) bytes.writeUInt32BE(said.height, 4);
            if (said.bits !== null) bytes[8] = said.bits;
            if (said.colourType !== null) bytes[9] = said.colourType;
            if (said.interlace !== null) bytes[12] = said.interlace;
            return bytes;
          }),
        ),
      ),
    ),
  );
});

test('chunks cut, dropped, doubled or exchanged', () =>
  checked(fc.asyncProperty(seed, shuffles, ({ chunks }, list) => judge(pngOf(shuffled(chunks, list))))));

test('a chunk that lies about its length', () =>
  checked(
    fc.asyncProperty(seed, place, nastyNumber, ({ chunks }, at, length) =>
      judge(pngOf(chunks, { at, length })),
    ),
  ));

test('rows changed within the packed data, in any number of chunks', () =>
  checked(
    fc.asyncProperty(seed, edits(20), place, fc.nat({ max: 3 }), ({ chunks }, list, cut, keep) => {
      const packed = whole(chunks.filter(({ type }) => type === 'IDAT').map(({ data }) => data));
      const rows = overwritten(new Uint8Array(inflateSync(packed)), list);
      const data = deflateSync(keep === 0 ? rows.subarray(0, cut % rows.length) : rows, { level: 1 });
      const half = cut % data.length;
      const first = chunks.findIndex(({ type }) => type === 'IDAT');
      const others = chunks.filter(({ type }) => type !== 'IDAT');
      others.splice(
        first,
        0,
        { type: 'IDAT', data: data.subarray(0, half) },
        { type: 'IDAT', data: data.subarray(half) },
      );
      return judge(pngOf(others));
    }),
  ));
