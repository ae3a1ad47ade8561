/** Cells of a binary table and its heap (FITS Standard 4.0, §7.3), as far as packed images use them. Every position is checked against
 * the unit before it is read.
 */
import { FrameReadError } from '../../../errors.js';
import { type OpenFile, readFully } from '../../file.js';
import type { FitsHeader } from '../header.js';

/** A binary table in a file. */
export interface TableUnit {
  index: number;
  header: FitsHeader;
  dataOffset: number;
  dataBytes: number;
}

/** A column; arrays in the heap have a descriptor in the row and elements of their own type. */
export interface TableColumn {
  name: string;
  /** Bytes from the start of the row. */
  offset: number;
  /** Letter of Table 18: B, I, J, K, E, D, …; P or Q for arrays in the heap. */
  code: string;
  repeat: number;
  /** Letter of the elements in the heap, or ''. */
  element: string;
}

/** Where a cell's array lies. */
export interface HeapArray {
  /** Elements. */
  count: number;
  /** Byte position in the file. */
  position: number;
  /** Bytes. */
  bytes: number;
}

/** Bytes of one element by the letter of TFORM (Table 18). */
const ELEMENT_BYTES: Readonly<Record<string, number>> = {
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
const FORM = /^(\d{0,15})([LXBAIJKEDCMPQ])\s*([LXBAIJKEDCM]?)/;
const MAX_FIELDS = 999;

/** Looks cells up. */
export class BinaryTable {
  readonly rowCount: number;
  readonly #file: OpenFile;
  readonly #unit: TableUnit;
  readonly #rowBytes: number;
  readonly #heapOffset: number;
  readonly #columns = new Map<string, TableColumn>();
  readonly #cell = Buffer.alloc(16);

  /** @throws FrameReadError `bad-header` when the columns make no sense or do not fit the row */
  constructor(file: OpenFile, unit: TableUnit) {
    this.#file = file;
    this.#unit = unit;
    this.#rowBytes = unit.header.number('NAXIS1') ?? 0;
    this.rowCount = unit.header.number('NAXIS2') ?? 0;
    const tableBytes = this.#rowBytes * this.rowCount;
    const heap = unit.header.number('THEAP') ?? tableBytes;
    if (!Number.isInteger(heap) || heap < tableBytes || heap > unit.dataBytes) {
      throw this.#bad(`THEAP is ${heap}: the heap would lie outside the unit`, 'THEAP');
    }
    this.#heapOffset = heap;
    let offset = 0;
    const fields = unit.header.number('TFIELDS') ?? 0;
    for (let i = 1; i <= Math.min(fields, MAX_FIELDS); i++) {
      const column = this.#readColumn(i, offset);
      // The first of two columns with one name counts, as with keywords.
      if (!this.#columns.has(column.name)) this.#columns.set(column.name, column);
      offset += cellBytes(column);
    }
    if (offset > this.#rowBytes) {
      throw this.#bad(`its columns need ${offset} bytes, a row has ${this.#rowBytes}`, 'NAXIS1');
    }
  }

  #readColumn(field: number, offset: number): TableColumn {
    const form = this.#unit.header.string(`TFORM${field}`)?.trim().toUpperCase() ?? '';
    const match = FORM.exec(form);
    if (match === null) {
      throw this.#bad(`TFORM${field} is '${form.slice(0, 20)}'`, `TFORM${field}`);
    }
    const name = this.#unit.header.string(`TTYPE${field}`)?.trim().toUpperCase() ?? '';
    const [, repeat = '', code = '', element = ''] = match;
    return { name, offset, code, repeat: repeat === '' ? 1 : Number(repeat), element };
  }

  #bad(fault: string, keyword: string): FrameReadError {
    return new FrameReadError(
      'bad-header',
      this.#file.path,
      `the table of unit ${this.#unit.index} is damaged: ${fault}`,
      `copy or save the file again, or correct ${keyword}`,
    );
  }

  column(name: string): TableColumn | null {
    return this.#columns.get(name) ?? null;
  }

  /** The number in a cell of one of the types B, I, J, K, E, D; NaN for any other type or an empty cell. */
  number(column: TableColumn, row: number): number {
    if (column.repeat < 1) return Number.NaN;
    const cell = this.#cell;
    switch (column.code) {
      case 'B':
        this.#readCell(column, row, 1);
        return cell.readUInt8(0);
      case 'I':
        this.#readCell(column, row, 2);
        return cell.readInt16BE(0);
      case 'J':
        this.#readCell(column, row, 4);
        return cell.readInt32BE(0);
      case 'K':
        this.#readCell(column, row, 8);
        return Number(cell.readBigInt64BE(0));
      case 'E':
        this.#readCell(column, row, 4);
        return cell.readFloatBE(0);
      case 'D':
        this.#readCell(column, row, 8);
        return cell.readDoubleBE(0);
      default:
        return Number.NaN;
    }
  }

  /**
   * Where the array of a P or Q cell lies, checked against the heap; null when it is none or lies outside.
   * An empty array has `count` 0, wherever its descriptor points.
   */
  array(column: TableColumn, row: number): HeapArray | null {
    const size = ELEMENT_BYTES[column.element];
    if ((column.code !== 'P' && column.code !== 'Q') || size === undefined) return null;
    if (column.repeat < 1) return { count: 0, position: 0, bytes: 0 };
    const wide = column.code === 'Q';
    this.#readCell(column, row, wide ? 16 : 8);
    const cell = this.#cell;
    const count = wide ? Number(cell.readBigInt64BE(0)) : cell.readInt32BE(0);
    const offset = wide ? Number(cell.readBigInt64BE(8)) : cell.readUInt32BE(4);
    if (count === 0) return { count: 0, position: 0, bytes: 0 };
    const bytes = count * size;
    const end = this.#heapOffset + offset + bytes;
    if (count < 0 || offset < 0 || end > this.#unit.dataBytes) return null;
    return { count, position: this.#unit.dataOffset + this.#heapOffset + offset, bytes };
  }

  /** @throws RangeError when there is no such row */
  #readCell(column: TableColumn, row: number, bytes: number): void {
    if (!(row >= 0 && row < this.rowCount)) throw new RangeError(`row ${row} of ${this.rowCount}`);
    const position = this.#unit.dataOffset + row * this.#rowBytes + column.offset;
    readFully(this.#file, this.#cell, 0, bytes, position);
  }
}

function cellBytes({ code, repeat }: TableColumn): number {
  if (code === 'X') return Math.ceil(repeat / 8);
  return repeat * (ELEMENT_BYTES[code] ?? 0);
}
