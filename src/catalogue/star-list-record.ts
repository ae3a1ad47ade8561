/** A star catalogue as plain data, for JSON documents, and back. */
import { type ColumnInfo, createCatalogue, type StarCatalogue } from './catalogue.js';
import { STAR_FLAGS } from './flags.js';

/** One list per column, all of one length; null = not measured. */
export interface StarListRecord {
  /** Path of the frame whose stars these are. */
  file: string;
  channels: StarCatalogue['channels'][number][];
  /** Unit of every column, in astropy's spelling; empty = dimensionless. */
  units: Record<string, string>;
  columns: Record<string, (number | null)[]>;
  /** Sum of the bits of `flagBits`; 0 = usable. */
  flags: number[];
  /** Bit of every flag, by name. */
  flagBits: Record<string, number>;
}

const FLAG_BITS: Record<string, number> = Object.fromEntries(
  STAR_FLAGS.map(({ name, bit }) => [name, bit]),
);

/** The record of a catalogue. */
export function starListRecord(file: string, catalogue: StarCatalogue): StarListRecord {
  const units = catalogue.info.map(({ name, unit }: ColumnInfo) => [name, unit]);
  return {
    file,
    channels: [...catalogue.channels],
    units: Object.fromEntries(units),
    columns: Object.fromEntries(
      Object.entries(catalogue.columns).map(([name, values]) => [
        name,
        Array.from(values, (value) => (Number.isFinite(value) ? value : null)),
      ]),
    ),
    flags: [...catalogue.flags],
    flagBits: FLAG_BITS,
  };
}

/**
 * The catalogue of a record, as read from JSON. Columns that this version does not know are left out; known ones that the record lacks
 * stay NaN. Flags go by name, so that a record of another version keeps its meaning; a flag of unknown name counts as 'poor fit'.
 * @throws RangeError when columns differ in length
 */
export function catalogueOfRecord(record: StarListRecord): StarCatalogue {
  const length = record.flags.length;
  const catalogue = createCatalogue(length, record.channels);
  for (const { name } of catalogue.info) {
    const from = record.columns[name];
    if (from === undefined) continue;
    if (from.length !== length) {
      throw new RangeError(`column ${name} has ${from.length} values for ${length} stars`);
    }
    const into = catalogue.columns[name] as Float64Array;
    for (let i = 0; i < length; i++) into[i] = from[i] ?? Number.NaN;
  }
  const unknown = FLAG_BITS['poor fit'] as number;
  const bits = Object.entries(record.flagBits).map(([name, bit]) => ({
    bit,
    own: FLAG_BITS[name] ?? unknown,
  }));
  for (let i = 0; i < length; i++) {
    let flags = 0;
    for (const { bit, own } of bits) if (((record.flags[i] as number) & bit) !== 0) flags |= own;
    catalogue.flags[i] = flags;
  }
  return catalogue;
}
