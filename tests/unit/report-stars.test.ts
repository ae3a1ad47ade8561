import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { createCatalogue, type StarCatalogue } from '../../src/catalogue/catalogue.js';
import { FLAG, STAR_FLAGS } from '../../src/catalogue/flags.js';
import { starsCsv } from '../../src/report/csv.js';
import { starsEcsv } from '../../src/report/ecsv.js';

/** Two stars, invented: one usable, one with two flags and nothing measured. */
function twoStars(): StarCatalogue {
  const catalogue = createCatalogue(2, ['L']);
  const set = (name: string, value: number): void => {
    (catalogue.columns[name] as Float64Array)[0] = value;
  };
  set('x', 123.456789012);
  set('y', -0.25);
  set('snr', 87.5);
  set('flux_L', 1234567.891);
  catalogue.flags[1] = FLAG.saturated | FLAG.edge;
  return catalogue;
}

const cells = (row: string): string[] => row.split(',');

describe('CSV', () => {
  const rows = starsCsv([{ file: 'a.fits', catalogue: twoStars() }]).split('\r\n');

  test('heads each column by name and leaves empty what was not measured', () => {
    expect(cells(rows[0] as string).slice(0, 6)).toEqual([
      'file',
      'x',
      'y',
      'x_err',
      'y_err',
      'snr',
    ]);
    expect(cells(rows[0] as string).slice(-2)).toEqual(['flags', 'flag_names']);
    expect(cells(rows[1] as string).slice(0, 6)).toEqual([
      'a.fits',
      '123.45679',
      '-0.25',
      '',
      '',
      '87.5',
    ]);
    expect(cells(rows[1] as string).slice(-2)).toEqual(['0', 'usable']);
    expect(cells(rows[2] as string).slice(-2)).toEqual(['5', 'saturated|edge']);
  });

  test('a file name cannot become a formula; numbers below zero stay numbers', () => {
    const [, row] = starsCsv([{ file: '=cmd()|x.fits', catalogue: twoStars() }]).split('\r\n');
    expect(cells(row as string).slice(0, 3)).toEqual(["'=cmd()|x.fits", '123.45679', '-0.25']);
  });

  test('commas, quotes and line breaks in a name are quoted (RFC 4180)', () => {
    const text = starsCsv([{ file: 'a,"b"\nc', catalogue: createCatalogue(1, []) }]);
    expect(text).toContain('"a,""b""\nc",');
  });

  test('frames of different layout share one table', () => {
    const text = starsCsv([
      { file: 'mono', catalogue: createCatalogue(1, ['L']) },
      { file: 'colour', catalogue: createCatalogue(1, ['R', 'G', 'B']) },
    ]);
    const [head, ...body] = text.trimEnd().split('\r\n').map(cells);
    expect(head).toContain('flux_L');
    expect(head).toContain('flux_B');
    for (const row of body) expect(row).toHaveLength((head as string[]).length);
  });
});

describe('ECSV', () => {
  const text = starsEcsv([{ file: 'a "b", ü.fits', catalogue: twoStars() }]);

  // Astropy Proposal for Enhancement 6 (ECSV): first line "%ECSV 1.0", YAML header in comment lines, one datatype entry
  // per column, then a header row of column names. Frozen; read back with astropy 5.2.1 on 2026-11-25.
  test('has the header that the format asks for', () => {
    const lines = text.split('\n');
    expect(lines.slice(0, 6)).toEqual([
      '# %ECSV 1.0',
      '# ---',
      "# delimiter: ','",
      '# datatype:',
      '# - {name: file, datatype: string, description: "frame the star was found in"}',
      '# - {name: x, unit: pix, datatype: float64, description: "centroid along NAXIS1; 0 = centre of the first pixel"}',
    ]);
    expect(lines.filter((line) => line.startsWith('#   - {bit:'))).toHaveLength(STAR_FLAGS.length);
    expect(lines.at(-4)?.startsWith('file,x,y,x_err,y_err,snr,flux_L,')).toBe(true);
    expect(lines.at(-3)).toBe(
      `"a ""b"", ü.fits",123.45679,-0.25,nan,nan,87.5,1234567.9${',nan'.repeat(12)},0,"usable"`,
    );
    expect(lines.at(-2)?.endsWith(',5,"saturated|edge"')).toBe(true);
  });

  const python = '/usr/bin/python3';
  const astropy = spawnSync(python, ['-c', 'import astropy'], { encoding: 'utf8' }).status === 0;
  test.skipIf(!astropy)('opens in astropy with units, meanings and flags', () => {
    const folder = mkdtempSync(join(tmpdir(), 'bluerim-ecsv-'));
    try {
      const file = join(folder, 'stars.ecsv');
      writeFileSync(file, text);
      const script = [
        'import json, sys',
        'from astropy.table import Table',
        "t = Table.read(sys.argv[1], format='ascii.ecsv')",
        'print(json.dumps({',
        " 'x': [float(t['x'][0]), str(t['x'].unit), t['x'].description],",
        " 'flux': str(t['flux_L'].unit), 'nan': bool(t['x'][1] != t['x'][1]), 'rows': len(t),",
        " 'file': str(t['file'][0]), 'flags': [int(v) for v in t['flags']],",
        " 'names': [str(v) for v in t['flag_names']], 'bits': [b['bit'] for b in t.meta['flag_bits']],",
        " 'numbers': all(str(t[c].dtype) == 'float64' for c in t.colnames[1:-2])}))",
      ].join('\n');
      const run = spawnSync(python, ['-c', script, file], { encoding: 'utf8' });
      expect(run.stderr).toBe('');
      expect(JSON.parse(run.stdout)).toEqual({
        x: [123.45679, 'pix', 'centroid along NAXIS1; 0 = centre of the first pixel'],
        flux: 'adu',
        nan: true,
        rows: 2,
        file: 'a "b", ü.fits',
        flags: [0, 5],
        names: ['usable', 'saturated|edge'],
        bits: STAR_FLAGS.map((flag) => flag.bit),
        numbers: true,
      });
    } finally {
      rmSync(folder, { recursive: true });
    }
  });
});
