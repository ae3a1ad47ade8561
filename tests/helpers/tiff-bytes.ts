/** TIFF files put together tag by tag, right or wrong (TIFF 6.0 section 2; BigTIFF). */

/** Field types by number. */
export const TYPE = { byte: 1, ascii: 2, short: 3, long: 4, rational: 5, float: 11, long8: 16 };

/** A tag: number, field type, values; RATIONALs as pairs of numbers, text as a string. */
export type Tag = [tag: number, type: number, values: readonly number[] | string];

export interface TiffFile {
  pages: readonly (readonly Tag[])[];
  /** Stored directly behind the header: at byte 8, or 16 in BigTIFF. */
  data?: Uint8Array;
  little?: boolean;
  big?: boolean;
  /** Offset that follows the last page; 0 by default. */
  next?: number;
}

const BYTES: Record<number, number> = { 1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 11: 4, 16: 8 };

/** Place of the data: directly behind the header. */
function dataAt(big: boolean): number {
  return big ? 16 : 8;
}

/** The file: header, data, then the directories, each followed by its longer values. */
export function tiffBytes(file: TiffFile): Buffer {
  const { pages, data = new Uint8Array(0), little = true, big = false, next = 0 } = file;
  const offsetBytes = big ? 8 : 4;
  const parts: Buffer[] = [];
  let length = 0;
  const append = (part: Buffer) => {
    parts.push(part);
    length += part.length;
  };
  const number = (value: number, bytes: number) => {
    const part = Buffer.alloc(bytes);
    if (bytes === 8) {
      if (little) part.writeBigUInt64LE(BigInt(value));
      else part.writeBigUInt64BE(BigInt(value));
    } else if (little) part.writeUIntLE(value, 0, bytes);
    else part.writeUIntBE(value, 0, bytes);
    return part;
  };
  const valueBytes = ([, type, values]: Tag) => {
    if (typeof values === 'string') return Buffer.from(`${values}\0`, 'latin1');
    if (type === TYPE.float) {
      const part = Buffer.alloc(4 * values.length);
      values.forEach((v, i) => {
        if (little) part.writeFloatLE(v, 4 * i);
        else part.writeFloatBE(v, 4 * i);
      });
      return part;
    }
    const size = type === TYPE.rational ? 4 : (BYTES[type] as number);
    return Buffer.concat(values.map((value) => number(value, size)));
  };

  append(Buffer.from(little ? 'II' : 'MM'));
  append(number(big ? 43 : 42, 2));
  if (big) append(Buffer.concat([number(8, 2), number(0, 2)]));
  const start = dataAt(big) + data.length + (data.length % 2);
  append(number(pages.length === 0 ? 0 : start, offsetBytes));
  append(Buffer.concat([data, Buffer.alloc(data.length % 2)]));
  for (const [i, tags] of pages.entries()) {
    const entryBytes = 4 + 2 * offsetBytes;
    const bodyEnd = length + (big ? 8 : 2) + tags.length * entryBytes + offsetBytes;
    const entries: Buffer[] = [];
    const longer: Buffer[] = [];
    let at = bodyEnd;
    for (const tag of tags) {
      const bytes = valueBytes(tag);
      const count = bytes.length / (BYTES[tag[1]] as number);
      const inPlace = bytes.length <= offsetBytes;
      entries.push(number(tag[0], 2), number(tag[1], 2), number(count, offsetBytes));
      entries.push(
        inPlace
          ? Buffer.concat([bytes, Buffer.alloc(offsetBytes - bytes.length)])
          : number(at, offsetBytes),
      );
      if (inPlace) continue;
      longer.push(bytes);
      at += bytes.length;
    }
    append(number(tags.length, big ? 8 : 2));
    append(Buffer.concat(entries));
    append(number(i + 1 < pages.length ? at : next, offsetBytes));
    append(Buffer.concat(longer));
  }
  return Buffer.concat(parts);
}

/** Tags of one uncompressed strip of grey samples directly behind the header. */
export function greyTags(width: number, height: number, bits = 16, big = false): Tag[] {
  return [
    [256, TYPE.long, [width]],
    [257, TYPE.long, [height]],
    [258, TYPE.short, [bits]],
    [259, TYPE.short, [1]],
    [262, TYPE.short, [1]],
    [273, TYPE.long, [dataAt(big)]],
    [277, TYPE.short, [1]],
    [278, TYPE.long, [height]],
    [279, TYPE.long, [(width * height * bits) / 8]],
  ];
}

/** The tags with some exchanged, added, or (values null) taken out. */
export function changed(
  tags: readonly Tag[],
  ...changes: [Tag[0], Tag[1], Tag[2] | null][]
): Tag[] {
  const gone = new Set(changes.map(([tag]) => tag));
  const kept = tags.filter(([tag]) => !gone.has(tag));
  const added = changes.filter((change): change is Tag => change[2] !== null);
  return [...kept, ...added].sort((a, b) => a[0] - b[0]);
}
