/** `bluerim expect` from the command line: text, JSON, chart, glasses, refusals. The numbers are tested with the optics. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { jsonSchemaOf } from '../../src/report/schema.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';

const TIMEOUT = 30_000;
const LENS = ['expect', '--aperture', '80', '--focal-length', '400'];

/** N-BK7 and F2 by the coefficients of the maker's data sheets: the same as in src/optics/glass.ts, typed anew. */
const PAIR = {
  crown: {
    name: 'crown',
    b: [1.03961212, 0.231792344, 1.01046945],
    c: [0.00600069867, 0.0200179144, 103.560653],
    rangeNm: [300, 2500],
  },
  flint: {
    name: 'flint',
    b: [1.34533359, 0.209073176, 0.937357162],
    c: [0.00997743871, 0.0470450767, 111.886764],
    rangeNm: [320, 2500],
  },
};

interface Lens {
  lens: string;
  basis: string;
  secondarySpectrum: Record<string, number>[];
  halo: { blueMinusRed: { excessPercent: Record<'value' | 'low' | 'high', number> } };
}
interface Document {
  secondarySpectrum: Record<string, number | string>[];
  lenses: Lens[];
  warnings: { code: string }[];
  [key: string]: unknown;
}

async function json(args: readonly string[], cwd = temporaryFolder()): Promise<Document> {
  const run = await bluerim([...args, '--json'], { cwd });
  expect(run.code, run.stderr).toBe(0);
  return JSON.parse(run.stdout) as Document;
}

function folderWith(name: string, content: unknown): string {
  const cwd = temporaryFolder();
  writeFileSync(join(cwd, name), typeof content === 'string' ? content : JSON.stringify(content));
  return cwd;
}

describe('expect', () => {
  test(
    'as text: optics, three kinds side by side, a sentence for each; what is missing on stderr',
    async () => {
      const run = await bluerim(LENS, { cwd: temporaryFolder() });
      expect(run.code, run.stderr).toBe(0);
      const words = run.stdout.replace(/\s+/g, ' ');
      // 1.029 × 0.535 × 5 = 2.75 µm; 1.2197 × 0.535 × 5 = 3.26 µm; 2 × 0.535 × 25 = 26.8 µm; 5/(80/25.4) = 1.59.
      expect(words).toMatch(/2\.75 µm wide.*3\.26 µm, 83\.8 %.*±26\.8 µm in green.*ratio 1\.59/);
      expect(words).toMatch(/Sidgwick.*Conrady.*from memory/);
      expect(words).toMatch(/achromat ED doublet \* apochromat \*/);
      expect(words).toMatch(
        /A classical achromat of 80 mm and f\/5 .*A usual ED doublet.*A usual apochromat/,
      );
      for (const line of run.stdout.split('\n')) expect([...line].length).toBeLessThanOrEqual(100);
      expect(run.stderr).toMatch(/warning: seeing is not given/);
      expect(run.stderr).toMatch(/warning: the pixel size is not given/);
      const known = await bluerim([...LENS, '--seeing', '2.5', '--pixel-size', '3.76']);
      expect(known.stderr).toBe('');
    },
    TIMEOUT,
  );

  test(
    'as JSON: the published schema, the names that programs rely on',
    async () => {
      const document = await json([...LENS, '--pixel-size', '3.76', '--seeing', '2.5']);
      const validate = new Ajv2020({ strict: true, allowUnionTypes: true }).compile(
        jsonSchemaOf('expect'),
      );
      expect(validate(document), JSON.stringify(validate.errors)).toBe(true);
      expect(document.schema).toBe('bluerim/expect/1');
      for (const name of [
        'airyFwhmArcsec',
        'depthOfFocusUm',
        'apertureSpeedRatio',
        'classicalLimits',
      ]) {
        expect(document).toHaveProperty(name);
      }
      for (const name of [
        'band',
        'wavelengthNm',
        'focusShiftUm',
        'blurUm',
        'blurArcsec',
        'blurAiryRadii',
      ]) {
        expect(document.secondarySpectrum[0]).toHaveProperty(name);
      }
      expect(document.lenses.map(({ lens }) => lens)).toEqual(['achromat', 'ed', 'apochromat']);
      expect(document.warnings).toEqual([]);
      const missing = await json([...LENS, '--lens', 'achromat']);
      expect(validate(missing), JSON.stringify(validate.errors)).toBe(true);
      expect(missing.warnings.map(({ code }) => code)).toEqual(['no-seeing', 'no-pixel-size']);
      expect(missing.lenses).toHaveLength(1);
    },
    TIMEOUT,
  );

  test(
    'any two of the three; all three if they agree',
    async () => {
      const ways = [
        ['--aperture', '80', '--focal-ratio', '5'],
        ['--focal-length', '400', '--focal-ratio', '5'],
        ['--aperture', '80', '--focal-length', '400', '--focal-ratio', '5'],
      ];
      for (const way of ways) {
        const document = await json(['expect', ...way, '--lens', 'achromat']);
        expect(document).toMatchObject({ apertureMm: 80, focalLengthMm: 400, focalRatio: 5 });
      }
    },
    TIMEOUT,
  );

  test(
    'glasses by their coefficients give the achromat made of them',
    async () => {
      const cwd = folderWith('pair.json', PAIR);
      const document = await json([...LENS, '--glasses', 'pair.json', '--lens', 'achromat'], cwd);
      const [kind, pair] = document.lenses as [Lens, Lens];
      expect(pair).toMatchObject({ lens: 'crown/flint', basis: 'glasses' });
      expect(pair.secondarySpectrum).toEqual(kind.secondarySpectrum);
      expect(pair.halo).toEqual(kind.halo);
      const alone = await json([...LENS, '--glasses', 'pair.json'], cwd);
      expect(alone.lenses.map(({ lens }) => lens)).toEqual(['crown/flint']);
    },
    TIMEOUT,
  );

  test(
    'other corrected colours move the foci; the two of them then coincide',
    async () => {
      const document = await json([...LENS, '--lens', 'achromat', '--corrected', '460,620']);
      const [red, , blue] = document.lenses[0]?.secondarySpectrum ?? [];
      expect(blue?.focusShiftUm).toBeCloseTo(red?.focusShiftUm ?? Number.NaN, 6);
      const usual = await json([...LENS, '--lens', 'achromat']);
      expect(usual.lenses[0]?.secondarySpectrum[2]?.focusShiftUm).toBeGreaterThan(
        blue?.focusShiftUm ?? 0,
      );
    },
    TIMEOUT,
  );

  test(
    'the response of a camera takes the place of usual filters',
    async () => {
      // A blue band without violet: less halo than with usual filters.
      const cwd = folderWith('camera.json', {
        wavelengthNm: [400, 470, 480, 500, 510, 560, 570, 600, 610, 680],
        R: [0, 0, 0, 0, 0, 0, 0, 1, 1, 1],
        G: [0, 0, 0, 0, 1, 1, 0, 0, 0, 0],
        B: [0, 0, 1, 1, 0, 0, 0, 0, 0, 0],
      });
      const excess = ({ lenses: [first] }: Document) =>
        first?.halo.blueMinusRed.excessPercent.value ?? Number.NaN;
      const own = await json([...LENS, '--lens', 'achromat', '--response', 'camera.json'], cwd);
      const usual = await json([...LENS, '--lens', 'achromat'], cwd);
      expect(excess(own)).toBeLessThan(excess(usual));
    },
    TIMEOUT,
  );

  test(
    'chart: a file, a folder of SVG, a folder of PNG; kept where they exist',
    async () => {
      const cwd = temporaryFolder();
      const args = [...LENS, '--chart', 'lens.svg', '--svg', 'drawn', '--png', 'drawn'];
      const run = await bluerim(args, { cwd });
      expect(run.code, run.stderr).toBe(0);
      const chart = readFileSync(join(cwd, 'lens.svg'), 'utf8');
      expect(chart).toMatch(
        /^<svg .*achromat: 24, expected.*ED doublet: 2\.4, expected.*apochromat: 0\.73, expected/s,
      );
      expect(chart).toMatch(/achromat 40 mm.*achromat 160 mm/s);
      expect(chart).not.toMatch(/68 %/);
      expect(readFileSync(join(cwd, 'drawn', 'lenses.svg'), 'utf8')).toBe(chart);
      expect(existsSync(join(cwd, 'drawn', 'lenses.png'))).toBe(true);
      const again = await bluerim(args, { cwd });
      expect(again).toMatchObject({ code: 2, stdout: '' });
      expect(again.stderr).toMatch(/exists already/);
    },
    TIMEOUT,
  );

  test(
    'with -o the result goes to a file, JSON by its ending',
    async () => {
      const cwd = temporaryFolder();
      const run = await bluerim([...LENS, '--lens', 'ed', '-o', 'ed.json'], { cwd });
      expect(run).toMatchObject({ code: 0, stdout: '' });
      expect(JSON.parse(readFileSync(join(cwd, 'ed.json'), 'utf8'))).toMatchObject({ lens: 'ed' });
    },
    TIMEOUT,
  );
});

describe('nonsense is refused with what is allowed: exit 2, nothing on stdout', () => {
  test.each([
    [['expect'], /two of --aperture, --focal-length and --focal-ratio/],
    [['expect', '--aperture', '80'], /two of/],
    [['expect', '--aperture', '5', '--focal-ratio', '5'], /from 10 to 2000 mm/],
    [['expect', '--aperture', '80mm', '--focal-ratio', '5'], /no unit/],
    [['expect', '--aperture', '80', '--focal-ratio', '0.5'], /from 1 to 60/],
    [['expect', '--aperture', '80', '--focal-length', '10'], /from 20 to 60000 mm/],
    [
      ['expect', '--aperture', '20', '--focal-length', '1500'],
      /the focal ratio is 75; allowed: 1 to 60/,
    ],
    [
      ['expect', '--focal-length', '20', '--focal-ratio', '5'],
      /the aperture is 4; allowed: 10 to 2000/,
    ],
    [[...LENS, '--focal-ratio', '6'], /the focal ratio is 6; allowed: 5\.00/],
    [[...LENS, '--lens', 'mirror'], /achromat, ed, apochromat/],
    [[...LENS, '--pixel-size', '0'], /from 0\.5 to 100/],
    [[...LENS, '--seeing', '-1'], /from 0\.2 to 20/],
    [[...LENS, '--filters', 'pink'], /mosaic, separate/],
    [[...LENS, '--corrected', '486'], /two wavelengths/],
    [[...LENS, '--corrected', '486,490'], /at least 50 nm apart/],
    [[...LENS, '--lens', 'ed', '--corrected', '486,656'], /--lens achromat or with --glasses/],
    [[...LENS, '--glasses', 'none.json'], /no such file/],
    [[...LENS, '--response', 'none.json'], /no such file/],
    [[...LENS, '--chart', 'lens.png'], /ends in \.svg/],
  ])('%j', async (args, message) => {
    const run = await bluerim(args, { cwd: temporaryFolder() });
    expect(run).toMatchObject({ code: 2, stdout: '' });
    expect(run.stderr.replace(/\s+/g, ' ')).toMatch(message);
    expect(run.stderr).toContain('what to do: ');
    expect(run.stderr).not.toMatch(/\n {4}at /);
  });

  const c = PAIR.crown;
  test.each([
    ['not JSON', 'crown: N-BK7', /this is not JSON/],
    ['a part missing', { crown: 'N-BK7' }, /flint/],
    [
      'an unknown glass',
      { crown: 'N-BK7', flint: 'window' },
      /no glass “window” is built in.*N-BK7 and F2/,
    ],
    [
      'exchanged',
      { crown: 'F2', flint: 'N-BK7' },
      /Abbe numbers 36\.4 \(crown\) and 64\.2 \(flint\).*exchange/,
    ],
    ['one glass twice', { crown: 'F2', flint: 'F2' }, /larger by at least 3/],
    [
      'no blue',
      { crown: { ...c, rangeNm: [500, 2500] }, flint: 'F2' },
      /hold from 500 to 2500 nm; needed: 380 to 720/,
    ],
    [
      'C in nm²',
      { crown: { ...c, c: [6000, 20017, 103560653] }, flint: 'F2' },
      /check the six coefficients/,
    ],
    ['five coefficients', { crown: { ...c, b: [1, 0.2] }, flint: 'F2' }, /pair\.json: crown/],
    ['corrected for one colour', { ...PAIR, correctedNm: [500, 510] }, /at least 50 nm apart/],
  ])('glasses: %s', async (_name, content, message) => {
    const cwd = folderWith('pair.json', content);
    const run = await bluerim([...LENS, '--glasses', 'pair.json'], { cwd });
    expect(run).toMatchObject({ code: 2, stdout: '' });
    expect(run.stderr.replace(/\s+/g, ' ')).toMatch(message);
  });

  test.each([
    [
      'lists of different length',
      { wavelengthNm: [400, 500], R: [1, 1], G: [1, 1], B: [1, 1, 1] },
      /B has 3 entries/,
    ],
    ['falling', { wavelengthNm: [600, 500], R: [1, 1], G: [1, 1], B: [1, 1] }, /do not rise/],
    ['no red', { wavelengthNm: [400, 500], R: [0, 0], G: [1, 1], B: [1, 1] }, /R sees nothing/],
  ])('response: %s', async (_name, content, message) => {
    const cwd = folderWith('camera.json', content);
    const run = await bluerim([...LENS, '--response', 'camera.json'], { cwd });
    expect(run).toMatchObject({ code: 2, stdout: '' });
    expect(run.stderr.replace(/\s+/g, ' ')).toMatch(message);
  });
});
