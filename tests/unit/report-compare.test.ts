/** The comparison as text, JSON and pictures, from a hand-made record. */
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { DEFAULT_COMPARE_OPTIONS } from '../../src/compare/options.js';
import { compareDocument } from '../../src/report/compare-json.js';
import { comparePictures } from '../../src/report/compare-pictures.js';
import { compareText } from '../../src/report/compare-table.js';
import { shortLabels } from '../../src/report/compare-words.js';
import { jsonText } from '../../src/report/json.js';
import { PLAIN_STYLE, visibleWidth } from '../../src/report/layout.js';
import { jsonSchemaOf } from '../../src/report/schema.js';
import { compareDocumentSchema } from '../../src/report/schema-compare.js';
import { brightestOf, colourStamp } from '../../src/report/svg/crops.js';
import { svgDocument } from '../../src/report/svg/document.js';
import { comparisonFixture } from '../helpers/comparison.js';

const THREE = ['achromat', 'ED', 'apochromat'];
/** Escape sequence, markup, and a control that turns the direction of text. */
const HOSTILE = ['\u001b[31m<script>&"\u202egnp', 'plain'];

const text = (labels: readonly string[], width = 80): string =>
  compareText(comparisonFixture(labels), width, PLAIN_STYLE);

describe('the table', () => {
  test.each([
    [['short', 'long'], 80],
    [THREE, 80],
    [THREE, 100],
    [['an achromat with a very long name', 'an achromat with a very long name 2', 'b'], 80],
    [THREE, 60],
    [HOSTILE, 80],
  ])('%j: no line is wider than %i characters', (labels, width) => {
    for (const line of text(labels, width).split('\n')) {
      expect(visibleWidth(line), line).toBeLessThanOrEqual(width);
    }
  });

  test('three telescopes fit 80 columns side by side, the verdict last', () => {
    expect(text(THREE)).toMatch(/^ +achromat +ED +apochromat +better$/m);
    expect(text(THREE)).toMatch(
      /^FWHM green, ″ +3\.44 ± 0\.03 +3\.14 ± 0\.03 +2\.84 ± 0\.03 +apochromat \(a\)\n +by 0\.31 ± 0\.04$/m,
    );
    // With room to spare, the difference has a column of its own.
    expect(text(['short', 'long'])).toMatch(
      /^FWHM green, ″ +3\.440 ± 0\.031 +3\.140 ± 0\.031 +−0\.31 ± 0\.04 +long \(a\)$/m,
    );
    expect(text(THREE)).toMatch(/^halo blue − red, % +\+40\.0 ± 0\.7 +\+10\.0 ± 0\.7/m);
  });

  test('telescopes, then fairness, rows, purposes and the review', () => {
    const all = text(THREE);
    const places = [
      'achromat, ED and apochromat on the same 287 stars',
      'Is it fair? 1 of 5 points weakens it',
      'Row by row',
      'Which one for what?',
      'In short',
    ].map((heading) => all.indexOf(heading));
    expect(places.every((place, i) => place > (places[i - 1] ?? -1))).toBe(true);
  });

  test('unequal points in full with a letter that rows carry; equal ones in one line', () => {
    const all = text(['short', 'long']);
    expect(all).toContain(
      '(a) seeing: not correctable; weakens: how wide stars are and how faint it sees',
    );
    expect(all).toContain('    short unknown; long at most 2.1 arcsec\n');
    expect(all).toMatch(/^equal: exposure, gain$/m);
    expect(all).not.toContain('Equal exposures');
    expect(all).toMatch(/^stars found .*none shown \(a\)$/m);
  });

  test('a row that cannot be compared says why, and shows no number', () => {
    const all = text(['short', 'long']);
    expect(all).not.toMatch(/^Light$|^corner illumination/m);
    expect(all).toMatch(/not comparable: corner illumination \(own field\): the level of no light/);
  });

  test('what is only bounded is shown as a limit', () => {
    const comparison = comparisonFixture();
    const [row] = comparison.rows;
    if (row) row.values = { short: { value: 0, low: 0, high: 0.0034 }, long: null };
    expect(compareText(comparison, 80, PLAIN_STYLE)).toMatch(/^FWHM green, ″ +< 0\.0034 +–/m);
  });

  test('labels with escapes and direction controls are shown harmless', () => {
    const all = text(HOSTILE);
    // biome-ignore lint/suspicious/noControlCharactersInRegex: none may be there
    expect(all).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f\u202e]/);
    expect(all).toContain('\\x1b[31m<');
  });
});

test('short labels stay different', () => {
  const labels = ['telescope number 1', 'telescope number 2', 'telescope Number 2', 'b'];
  const short = [...shortLabels(labels, 12).values()];
  expect(short).toEqual(['telescop…r 1', 'telescop…r 2', 'telescope …3', 'b']);
  for (const label of short) expect([...label].length).toBeLessThanOrEqual(12);
});

describe('the document', () => {
  test.each([[['short', 'long']], [THREE], [HOSTILE], [['value', 'low', 'high']]])(
    '%j follows the published schema, by zod and by an independent reader',
    (labels) => {
      const document = compareDocument(comparisonFixture(labels), DEFAULT_COMPARE_OPTIONS, {}, [
        { label: labels[0] as string, overrides: { apertureMm: 80 }, seeingArcsec: 2 },
      ]);
      const parsed = JSON.parse(jsonText(document));
      compareDocumentSchema.parse(parsed);
      const validate = new Ajv2020({ strict: false }).compile(jsonSchemaOf('compare'));
      expect(validate(parsed), JSON.stringify(validate.errors)).toBe(true);
      expect(parsed.telescopes.map(({ label }: { label: string }) => label)).toEqual(labels);
      expect(parsed.rows[0].values[labels[0] as string]).toEqual({
        value: 3.44,
        low: 3.409,
        high: 3.471,
      });
      expect(parsed.transforms[0].log10FalseProbability).toBeNull();
      expect(parsed.parameters.telescopes[0]).toMatchObject({ apertureMm: 80, seeingArcsec: 2 });
    },
  );
});

describe('the pictures', () => {
  const crop = {
    side: 5,
    unitPerSample: 1.5,
    magnitude: 0,
    saturated: false,
    images: {},
  };

  test.each([[['short', 'long']], [THREE], [HOSTILE], [['a', 'b', 'c', 'd', 'e', 'f']]])(
    '%j: whole, safe, with a title and a description, fetching nothing',
    (labels) => {
      const comparison = comparisonFixture(labels);
      const image = 'data:image/png;base64,AAAA';
      const pictures = comparePictures(comparison, {
        crops: [crop, { ...crop, magnitude: null, saturated: true }],
        images: [
          Object.fromEntries(labels.map((label) => [label, image])),
          { [labels[0] as string]: image },
        ],
        brightest: 0.05,
      });
      expect(pictures.map(({ name }) => name)).toEqual([
        'profiles',
        'differences',
        'crops',
        'lenses',
      ]);
      for (const { name, picture } of pictures) {
        const svg = svgDocument(picture);
        expect(svg, name).toMatch(
          /^<svg xmlns="http:\/\/www\.w3\.org\/2000\/svg"[\s\S]*<\/svg>\n$/,
        );
        expect(svg).toMatch(/<title>[^<]+<\/title><desc>[^<]+<\/desc>/);
        expect(svg.match(/https?:/g)).toHaveLength(1);
        expect(svg).not.toMatch(/NaN|undefined|Infinity|<script/);
        // biome-ignore lint/suspicious/noControlCharactersInRegex: none may be there
        expect(svg).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f\u202e]/);
        for (const tag of ['g', 'svg', 'text', 'title', 'style']) {
          const open = svg.match(new RegExp(`<${tag}[ >]`, 'g'))?.length ?? 0;
          expect(svg.match(new RegExp(`</${tag}>`, 'g'))?.length ?? 0, `${name} ${tag}`).toBe(open);
        }
      }
    },
  );

  test('the scale bar and the stretch of crops are said in words', () => {
    const [, , crops] = comparePictures(comparisonFixture(), {
      crops: [crop],
      images: [{ short: 'data:,', long: 'data:,' }],
      brightest: 0.0521,
    });
    // 5 samples of 1.5 arcsec: 7.5 wide, so that 2 is the longest round bar within half of it.
    expect(crops?.picture.body).toContain('2 arcsec, the scale of every crop');
    expect(crops?.picture.body).toContain('white is 5.2 % of a star’s light per arcsec²');
  });

  test('profiles of records are not called those of the same stars', () => {
    const encoded = { crops: [], images: [], brightest: 1 };
    const comparison = comparisonFixture();
    const titleOf = (): string =>
      comparePictures(comparison, encoded).find(({ name }) => name === 'profiles')?.picture.title ??
      '';
    expect(titleOf()).toMatch(/of the same 287 stars/);
    (comparison.telescopes[1] as (typeof comparison.telescopes)[number]).hasPixels = false;
    expect(titleOf()).toMatch(/not the same in all telescopes, light counted within/);
  });

  test('telescopes without profiles, sizes or lens data leave those pictures out', () => {
    const comparison = comparisonFixture();
    for (const each of comparison.telescopes) {
      each.profiles = {};
      each.apertureMm = null;
    }
    comparison.stars.fwhm = {};
    expect(comparePictures(comparison, { crops: [], images: [], brightest: 0 })).toEqual([]);
  });
});

describe('the stretch of crops', () => {
  const images = (value: number) => ({
    a: {
      rgb: new Float32Array([0, 1e-3 * value, value, Number.NaN, 0, 0, 0, 0, 0, 0, 0, 0]),
      colour: true,
    },
  });
  const base = { side: 2, unitPerSample: 1, magnitude: 0 };

  test('clipped cores do not set the scale', () => {
    const crops = [
      { ...base, saturated: false, images: images(0.04) },
      { ...base, saturated: true, images: images(9) },
    ];
    expect(brightestOf(crops)).toBeCloseTo(0.04, 6);
    expect(brightestOf(crops.slice(1))).toBeCloseTo(9, 5);
  });

  test('asinh with full white at the brightest, rows turned upside down', () => {
    const { pixels } = colourStamp(images(0.04).a.rgb, 2, 0.04);
    // Row 0 of the frame is the lower row of the picture: red of samples 0 and 1 stand at pixels 2 and 3.
    // asinh(1)/asinh(1000) = 0.8814/7.6009 = 0.1160: 29.6 of 255.
    expect([pixels[6], pixels[9]]).toEqual([0, 30]);
    // Upper row: the brightest is 255; no sample is grey, 72.
    expect([pixels[0], pixels[3]]).toEqual([255, 72]);
  });
});
