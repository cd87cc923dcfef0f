import type { Header } from '../header.ts';

/** One column of a binary table (FITS Standard 4.0, 7.3): where it lies in a row and what it holds. */
export interface Column {
  /** Bytes from the start of the row. */
  at: number;
  /** P or Q: a descriptor (length, offset into the heap) of 32 or 64 bit; else the type letter itself. */
  code: string;
  /** Bytes of one element of the array in the heap, or of the value in the row. */
  elementBytes: number;
}

const WIDTHS: Record<string, number> = {
  L: 1,
  B: 1,
  A: 1,
  I: 2,
  J: 4,
  K: 8,
  E: 4,
  D: 8,
  C: 8,
  M: 16,
  P: 8,
  Q: 16,
};
const TFORM = /^(\d*)([LXBIJKAEDCMPQ])([LXBIJKAEDCM]?)/;

/** The columns by name. Null when a TFORM makes no sense or the columns do not fill the row. */
export function columnsOf(header: Header, rowBytes: number): Map<string, Column> | null {
  const columns = new Map<string, Column>();
  let at = 0;
  const fields = header.number('TFIELDS') ?? 0;
  for (let field = 1; field <= Math.min(fields, 999); field++) {
    const form = TFORM.exec(header.string(`TFORM${field}`) ?? '');
    if (!form) return null;
    const [, repeat, code, element] = form;
    const count = repeat === '' ? 1 : Number(repeat);
    const name = header.string(`TTYPE${field}`)?.toUpperCase();
    const elementBytes = WIDTHS[element || code] ?? 0;
    if (name && count > 0) columns.set(name, { at, code, elementBytes });
    at += code === 'X' ? Math.ceil(count / 8) : count * WIDTHS[code];
  }
  return at <= rowBytes ? columns : null;
}

/** A place in the heap. */
export interface Extent {
  offset: number;
  bytes: number;
}

/** Reads values out of the rows of a table. */
export class Rows {
  private readonly view: DataView;

  constructor(
    bytes: Uint8Array,
    private readonly rowBytes: number,
    private readonly columns: Map<string, Column>,
  ) {
    this.view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  }

  /** Where an array of the row lies in the heap; null when there is no such column or the array is empty. */
  extent(row: number, name: string): Extent | null {
    const column = this.columns.get(name);
    if (!column || (column.code !== 'P' && column.code !== 'Q')) return null;
    const at = row * this.rowBytes + column.at;
    const wide = column.code === 'Q';
    const length = wide ? Number(this.view.getBigInt64(at)) : this.view.getInt32(at);
    const offset = wide ? Number(this.view.getBigInt64(at + 8)) : this.view.getInt32(at + 4);
    return length === 0 ? null : { offset, bytes: length * column.elementBytes };
  }

  /** A number of the row; null when there is no such column. */
  number(row: number, name: string): number | null {
    const column = this.columns.get(name);
    if (!column) return null;
    const at = row * this.rowBytes + column.at;
    switch (column.code) {
      case 'D':
        return this.view.getFloat64(at);
      case 'E':
        return this.view.getFloat32(at);
      case 'J':
        return this.view.getInt32(at);
      case 'I':
        return this.view.getInt16(at);
      case 'B':
        return this.view.getUint8(at);
      case 'K':
        return Number(this.view.getBigInt64(at));
      default:
        return null;
    }
  }
}
