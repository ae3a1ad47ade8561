/** The star catalogue as ECSV 1.0 (Enhanced Character-Separated Values, astropy's APE 6): CSV under a YAML header
 * with unit, type and meaning of each column. Read it with `Table.read(file, format='ascii.ecsv')`.
 */
import { STAR_FLAGS } from '../catalogue/flags.js';
import { VERSION } from '../version.js';
import { escapeControls } from './escape.js';
import { PIXEL_ORIGIN } from './json.js';
import { cellNumber, flagText, mergedColumns, type NamedCatalogue } from './star-table.js';

/** A YAML double-quoted scalar; JSON strings are valid ones once every character outside printable ASCII is escaped. */
function yaml(text: string): string {
  return JSON.stringify(text).replace(
    /[^\x20-\x7e]/g,
    (character) => `\\u${character.charCodeAt(0).toString(16).padStart(4, '0')}`,
  );
}

/** A text cell on one line. */
function textCell(text: string): string {
  return `"${escapeControls(text).replaceAll('"', '""')}"`;
}

/** ECSV text with LF line ends. Not measured is `nan`. */
export function starsEcsv(stars: readonly NamedCatalogue[]): string {
  const columns = mergedColumns(stars);
  const describe = (name: string, datatype: string, unit: string, meaning: string): string =>
    `# - {name: ${name}, ${unit === '' ? '' : `unit: ${unit}, `}datatype: ${datatype}, description: ${yaml(meaning)}}`;
  const lines = [
    '# %ECSV 1.0',
    '# ---',
    "# delimiter: ','",
    '# datatype:',
    describe('file', 'string', '', 'frame the star was found in'),
    ...columns.map(({ name, unit, meaning }) => describe(name, 'float64', unit, meaning)),
    describe('flags', 'uint32', '', 'sum of the bits in meta.flag_bits; 0 = usable'),
    describe('flag_names', 'string', '', 'names of the flags, joined with |; usable = none'),
    '# meta: !!omap',
    `# - software: ${yaml(`bluerim ${VERSION}`)}`,
    `# - pixel_origin: ${yaml(PIXEL_ORIGIN)}`,
    '# - flag_bits:',
    ...STAR_FLAGS.map(
      ({ bit, name, meaning }) =>
        `#   - {bit: ${bit}, name: ${yaml(name)}, meaning: ${yaml(meaning)}}`,
    ),
    '# schema: astropy-2.0',
    ['file', ...columns.map(({ name }) => name), 'flags', 'flag_names'].join(','),
  ];
  for (const { file, catalogue } of stars) {
    for (let i = 0; i < catalogue.length; i++) {
      const bits = catalogue.flags[i] as number;
      const numbers = columns.map(({ name }) => cellNumber(catalogue.columns[name]?.[i]) ?? 'nan');
      lines.push([textCell(file), ...numbers, bits, textCell(flagText(bits))].join(','));
    }
  }
  return `${lines.join('\n')}\n`;
}
