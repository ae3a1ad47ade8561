/** The star catalogue: one typed array per column, one row per candidate, rejected ones included. */

/** A column's name in CSV and ECSV, its unit (astropy spelling; empty = dimensionless) and meaning. */
export interface ColumnInfo {
  name: string;
  unit: string;
  meaning: string;
}

/** Columns present for every layout. Per-channel columns are made by `channelColumns`. */
export const STAR_COLUMNS: readonly ColumnInfo[] = [
  { name: 'x', unit: 'pix', meaning: 'centroid along NAXIS1; 0 = centre of the first pixel' },
  { name: 'y', unit: 'pix', meaning: 'centroid along NAXIS2; 0 = centre of the first row' },
  { name: 'x_err', unit: 'pix', meaning: '1 sigma of x' },
  { name: 'y_err', unit: 'pix', meaning: '1 sigma of y' },
  { name: 'snr', unit: '', meaning: 'flux over its noise, reference channel' },
];

/** Columns of one channel; `{c}` in the name becomes the channel's letter. */
export const CHANNEL_COLUMNS: readonly ColumnInfo[] = [
  { name: 'flux_{c}', unit: 'adu', meaning: 'background-subtracted flux within R_max' },
  { name: 'flux_err_{c}', unit: 'adu', meaning: '1 sigma of flux' },
  { name: 'background_{c}', unit: 'adu', meaning: 'local background' },
  { name: 'peak_{c}', unit: 'adu', meaning: 'highest sample above the background' },
  { name: 'dx_{c}', unit: 'pix', meaning: "channel's centroid minus the star's, x" },
  { name: 'dy_{c}', unit: 'pix', meaning: "channel's centroid minus the star's, y" },
  { name: 'fwhm_{c}', unit: 'pix', meaning: 'FWHM of the fitted Moffat, pixel included' },
  { name: 'fwhm_err_{c}', unit: 'pix', meaning: '1 sigma of fwhm' },
  {
    name: 'hfd_{c}',
    unit: 'pix',
    meaning: 'half-flux diameter of the curve of growth within 2 FWHM; empty on mosaics',
  },
  { name: 'e1_{c}', unit: '', meaning: 'ellipticity component e cos 2 theta' },
  { name: 'e2_{c}', unit: '', meaning: 'ellipticity component e sin 2 theta' },
  {
    name: 'm3x_{c}',
    unit: 'pix',
    meaning:
      'coma: mean of x r^2 over mean of r^2 under a matched Gaussian weight; reference channel',
  },
  { name: 'm3y_{c}', unit: 'pix', meaning: 'coma: the same along y' },
];

/** Struct of arrays. `columns` is keyed by the column's full name; all arrays have length `length`. NaN = not measured. */
export interface StarCatalogue {
  readonly length: number;
  readonly channels: readonly ('R' | 'G' | 'B' | 'L')[];
  readonly info: readonly ColumnInfo[];
  readonly columns: Readonly<Record<string, Float64Array>>;
  /** Bits of catalogue/flags.ts; 0 = usable. */
  readonly flags: Uint32Array;
}

/** An empty catalogue of `length` rows, every value NaN. */
export function createCatalogue(
  length: number,
  channels: readonly ('R' | 'G' | 'B' | 'L')[],
): StarCatalogue {
  const info = [
    ...STAR_COLUMNS,
    ...channels.flatMap((channel) =>
      CHANNEL_COLUMNS.map((column) => ({ ...column, name: column.name.replace('{c}', channel) })),
    ),
  ];
  const columns: Record<string, Float64Array> = Object.create(null);
  for (const column of info) columns[column.name] = new Float64Array(length).fill(Number.NaN);
  return { length, channels, info, columns, flags: new Uint32Array(length) };
}
