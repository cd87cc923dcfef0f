import { onlyPicture } from '../choice.ts';
import { DecodeFault } from '../fault.ts';
import { Garbled, inflate } from '../inflate.ts';
import { NOTHING_KNOWN } from '../../protocol/frame.ts';
import { Picture } from '../picture.ts';
import { pictureWarnings } from '../picture-warnings.ts';
import type { DecodeInput, FormatDecoder } from '../reader.ts';
import { readChunks, type Header } from './chunks.ts';
import { passesOf } from './passes.ts';
import { RowReader } from './rows.ts';

/** Reads a PNG (ISO/IEC 15948) row by row as it is unpacked. */
export const decode: FormatDecoder['decode'] = async (input) => {
  const { name, bytes } = input;
  onlyPicture(input.choice, name);
  await bytes.skip(8);
  const file = await readChunks(bytes, name);
  const { header } = file;
  const colour =
    header.colourType === 3 ? file.palette !== null && !isGrey(file.palette) : (header.colourType & 2) !== 0;
  const shape = {
    widthPx: header.widthPx,
    heightPx: header.heightPx,
    planes: colour ? (3 as const) : (1 as const),
    numbers: { bits: header.colourType === 3 ? 8 : header.bits, kind: 'unsigned' as const },
  };
  const picture = new Picture(input.kernels, shape, name, input.fileBytes);
  await paintRows(input, header, file.data(), new RowReader(header, file.palette, picture));
  const warnings = pictureWarnings({
    format: 'PNG',
    bits: shape.numbers.bits,
    colour,
    colourProfile: file.forScreen,
    lossy: false,
    tellsFilters: false,
  });
  const frame = picture.finish({ format: 'PNG', ...NOTHING_KNOWN }, null, null, warnings);
  return { frame, contents: null };
};

const isGrey = (palette: Uint8Array) => palette.every((value, i) => value === palette[i - (i % 3)]);

async function paintRows(
  input: DecodeInput,
  header: Header,
  packed: AsyncIterable<Uint8Array>,
  rows: RowReader,
): Promise<void> {
  const passes = passesOf(header);
  const total = passes.reduce((sum, { heightPx }) => sum + heightPx, 0);
  let [pass, y, done, filled] = [0, 0, 0, 0];
  let line = rows.lineFor(passes[0]);
  try {
    for await (const piece of inflate(packed, 'deflate')) {
      for (let at = 0; at < piece.length && done < total;) {
        const part = piece.subarray(at, at + line.length - filled);
        line.set(part, filled);
        filled += part.length;
        at += part.length;
        if (filled < line.length) break;
        if (!rows.take(line, passes[pass], y)) throw new Garbled();
        if (++y === passes[pass].heightPx) [pass, y] = [pass + 1, 0];
        if (++done < total) line = rows.lineFor(passes[pass]);
        filled = 0;
        input.onBytes(done, total);
      }
      if (done === total) return;
    }
  } catch (error) {
    if (!(error instanceof Garbled)) throw error;
  }
  throw new DecodeFault(
    'damaged',
    `${input.name} is damaged or cut short: only ${done} of its ${total} rows can be unpacked (${Math.floor((100 * done) / total)} %). Copy it again from where it was made.`,
  );
}
