/** The star catalogue as CSV (RFC 4180): one heading row; units and meanings are in docs/output-format.md. */
import { stringify } from 'csv-stringify/sync';
import { cellNumber, flagText, mergedColumns, type NamedCatalogue } from './star-table.js';

/**
 * CSV text with CRLF line ends. Not measured is an empty cell. A file name that a spreadsheet would run as a formula
 * is defused with a leading apostrophe.
 */
export function starsCsv(stars: readonly NamedCatalogue[]): string {
  const columns = mergedColumns(stars);
  const header = ['file', ...columns.map(({ name }) => name), 'flags', 'flag_names'];
  const rows: (string | number | null)[][] = [];
  for (const { file, catalogue } of stars) {
    for (let i = 0; i < catalogue.length; i++) {
      const bits = catalogue.flags[i] as number;
      rows.push([
        file,
        ...columns.map(({ name }) => cellNumber(catalogue.columns[name]?.[i])),
        bits,
        flagText(bits),
      ]);
    }
  }
  return stringify([header, ...rows], { record_delimiter: 'windows', escape_formulas: true });
}
