import type { Anywhere } from '../anywhere.ts';
import { DecodeFault } from '../fault.ts';

/** Bytes of one value of each field type (TIFF 6.0, section 2; 16 to 18 are BigTIFF's); 0 for types that are none. */
const TYPE_BYTES = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4, 0, 0, 8, 8, 8];
/** What no camera's directory reaches; a garbled file does at once. */
const MOST_ENTRIES = 4096;
/** Strips and tiles of the largest sensors in rows of one: 16 MB of offsets. */
const MOST_VALUE_BYTES = 16 << 20;

/** One field: where its values lie. */
interface Entry {
  type: number;
  count: number;
  at: number;
}

/** The byte order, the size of offsets, and the first directory of a file. */
export interface TiffFile {
  bytes: Anywhere;
  littleEndian: boolean;
  big: boolean;
  /** Where the TIFF begins in the file that holds it; offsets count from here. */
  start: number;
  firstAt: number;
}

/** Reads the eight or sixteen bytes at the start; null when they are no TIFF. */
export async function openTiff(bytes: Anywhere, start = 0): Promise<TiffFile | null> {
  const head = new Uint8Array(await bytes.bytes(start, 16));
  if (head.length < 8) return null;
  const littleEndian = head[0] === 0x49;
  const view = new DataView(head.buffer);
  const version = view.getUint16(2, littleEndian);
  if (version === 43 && head.length === 16)
    return { bytes, start, littleEndian, big: true, firstAt: Number(view.getBigUint64(8, littleEndian)) };
  return version === 42
    ? { bytes, start, littleEndian, big: false, firstAt: view.getUint32(4, littleEndian) }
    : null;
}

/** One image file directory: its fields by tag. Values are read when asked for; what makes no sense is absent. */
export class Directory {
  private constructor(
    private readonly file: TiffFile,
    private readonly entries: Map<number, Entry>,
    /** Where the next directory lies; 0 when this is the last. */
    readonly nextAt: number,
  ) {}

  /** Reads the directory at an offset; null where none can be. */
  static async read(file: TiffFile, at: number): Promise<Directory | null> {
    const { big, littleEndian } = file;
    const head = await file.bytes.bytes(file.start + at, big ? 8 : 2);
    if (head.length < (big ? 8 : 2)) return null;
    const view = new DataView(head.buffer, head.byteOffset);
    const count = big ? Number(view.getBigUint64(0, littleEndian)) : view.getUint16(0, littleEndian);
    if (count === 0 || count > MOST_ENTRIES) return null;
    const entryBytes = big ? 20 : 12;
    const from = at + head.length;
    const body = new Uint8Array(
      await file.bytes.bytes(file.start + from, count * entryBytes + (big ? 8 : 4)),
    );
    const fields = new DataView(body.buffer);
    const entries = new Map<number, Entry>();
    for (let i = 0; i < count && (i + 1) * entryBytes <= body.length; i++) {
      const at = i * entryBytes;
      const type = fields.getUint16(at + 2, littleEndian);
      const values = big
        ? Number(fields.getBigUint64(at + 4, littleEndian))
        : fields.getUint32(at + 4, littleEndian);
      const inlineBytes = big ? 8 : 4;
      const valueAt = at + entryBytes - inlineBytes;
      const inline = (TYPE_BYTES[type] ?? 0) * values <= inlineBytes;
      const pointer = big
        ? Number(fields.getBigUint64(valueAt, littleEndian))
        : fields.getUint32(valueAt, littleEndian);
      const tag = fields.getUint16(at, littleEndian);
      if (TYPE_BYTES[type] && !entries.has(tag))
        entries.set(tag, { type, count: values, at: inline ? from + valueAt : pointer });
    }
    const nextFrom = count * entryBytes;
    const hasNext = nextFrom + (big ? 8 : 4) <= body.length;
    const next = big && hasNext ? Number(fields.getBigUint64(nextFrom, littleEndian)) : 0;
    return new Directory(file, entries, !big && hasNext ? fields.getUint32(nextFrom, littleEndian) : next);
  }

  has(tag: number): boolean {
    return this.entries.has(tag);
  }

  /** All values of a field as numbers, at most `most`; rationals are divided out. Empty when it is absent. */
  async numbers(tag: number, most = MOST_VALUE_BYTES): Promise<number[]> {
    const entry = this.entries.get(tag);
    if (!entry || entry.type === 2) return [];
    const size = TYPE_BYTES[entry.type];
    const count = Math.min(entry.count, most, Math.floor(MOST_VALUE_BYTES / size));
    const bytes = await this.file.bytes.bytes(this.file.start + entry.at, count * size);
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    const values: number[] = [];
    for (let i = 0; (i + 1) * size <= bytes.length; i++)
      values.push(readValue(view, i * size, entry.type, this.file.littleEndian));
    return values;
  }

  /** The first value of a field; `otherwise` when it is absent. */
  async number<T>(tag: number, otherwise: T): Promise<number | T> {
    return (await this.numbers(tag, 1))[0] ?? otherwise;
  }

  /** A field of characters without the zeros at its end; null when it is absent or empty. */
  async text(tag: number): Promise<string | null> {
    const entry = this.entries.get(tag);
    if (!entry || entry.type !== 2) return null;
    const bytes = await this.file.bytes.bytes(this.file.start + entry.at, Math.min(entry.count, 4096));
    return new TextDecoder('latin1').decode(bytes).replace(/\0.*$/s, '').trim() || null;
  }

  /** The directories that a field points to (SubIFDs, Exif). */
  async below(tag: number, most: number): Promise<Directory[]> {
    const found: Directory[] = [];
    for (const at of await this.numbers(tag, most)) {
      const directory = await Directory.read(this.file, at);
      if (directory) found.push(directory);
    }
    return found;
  }
}

function readValue(view: DataView, at: number, type: number, little: boolean): number {
  switch (type) {
    case 1:
    case 7:
      return view.getUint8(at);
    case 3:
      return view.getUint16(at, little);
    case 4:
    case 13:
      return view.getUint32(at, little);
    case 5:
      return view.getUint32(at, little) / view.getUint32(at + 4, little);
    case 6:
      return view.getInt8(at);
    case 8:
      return view.getInt16(at, little);
    case 9:
      return view.getInt32(at, little);
    case 10:
      return view.getInt32(at, little) / view.getInt32(at + 4, little);
    case 11:
      return view.getFloat32(at, little);
    case 12:
      return view.getFloat64(at, little);
    case 17:
      return Number(view.getBigInt64(at, little));
    default:
      return Number(view.getBigUint64(at, little));
  }
}

/** More pages than this are not looked at: what has so many is no camera's file, or a chain in a circle. */
const MOST_PAGES = 256;

/** The directories of a file one behind the other. */
export async function pagesOf(file: TiffFile, name: string): Promise<Directory[]> {
  const pages: Directory[] = [];
  const seen = new Set<number>();
  for (let at = file.firstAt; at !== 0 && !seen.has(at) && pages.length < MOST_PAGES;) {
    seen.add(at);
    const page = await Directory.read(file, at);
    if (!page) break;
    pages.push(page);
    at = page.nextAt;
  }
  if (pages.length > 0) return pages;
  throw new DecodeFault(
    'damaged',
    `${name} begins like a TIFF, but the list of what it holds is not where it says: the file is cut short or was garbled. Copy it again from where it was made.`,
  );
}
