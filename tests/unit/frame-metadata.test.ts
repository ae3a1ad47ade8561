/** Metadata: fall-backs, units, plausibility, and the user's options. */
import { describe, expect, test } from 'vitest';
import { FitsHeader } from '../../src/frame/fits/header.js';
import type { FrameMetadata, FrameOverrides } from '../../src/frame/frame.js';
import { readMetadata } from '../../src/frame/metadata.js';
import type { Warning } from '../../src/warnings.js';

function read(
  cards: string[],
  overrides: FrameOverrides = {},
): FrameMetadata & { codes: string[]; messages: string } {
  const warnings: Warning[] = [];
  const metadata = readMetadata(new FitsHeader(cards), overrides, warnings, 'a.fits');
  for (const warning of warnings) expect(warning.file).toBe('a.fits');
  const messages = warnings.map((w) => w.message).join('\n');
  return { ...metadata, codes: warnings.map((w) => w.code), messages };
}

test('a silent header gives null everywhere and no warning', () => {
  const { codes, messages, ...metadata } = read([]);
  expect(codes).toEqual([]);
  expect(messages).toBe('');
  for (const value of Object.values(metadata)) expect(value).toBeNull();
});

test('plain keywords', () => {
  const found = read([
    'EXPTIME =                 30.5',
    'EGAIN   =                 0.75',
    'ISOSPEED=                  800',
    'XPIXSZ  =                 3.76',
    'YPIXSZ  =                 3.76',
    'XBINNING=                    1',
    'YBINNING=                    1',
    'FOCALLEN=                480.0',
    'APTDIA  =                 80.0',
    "FILTER  = 'L       '",
    "OBJECT  = 'Field 7 '",
    "TELESCOP= 'Invented refractor'",
    "INSTRUME= 'Invented camera'",
    "DATE-OBS= '2026-11-25T21:14:03.5'",
    'AIRMASS =                 1.23',
    'CCD-TEMP=                -10.2',
    'FOCUSPOS=                12034',
    'FOCTEMP =                  6.5',
    "IMAGETYP= 'Light Frame'",
    "PIERSIDE= 'WEST    '",
    'SATURATE=                60000',
    'PEDESTAL=                  500',
  ]);
  expect(found).toEqual({
    exposureSeconds: 30.5,
    gainElectronsPerAdu: 0.75,
    isoSpeed: 800,
    pixelSizeUm: 3.76,
    binning: 1,
    focalLengthMm: 480,
    apertureMm: 80,
    filter: 'L',
    object: 'Field 7',
    telescope: 'Invented refractor',
    instrument: 'Invented camera',
    dateObs: '2026-11-25T21:14:03.5',
    airmass: 1.23,
    sensorTemperatureC: -10.2,
    focusPosition: 12034,
    ambientTemperatureC: 6.5,
    imageType: 'Light Frame',
    pierSide: 'WEST',
    saturationAdu: 60000,
    pedestalAdu: 500,
    codes: [],
    messages: '',
  });
});

test('second keywords are used when the first are missing or senseless', () => {
  expect(read(['EXPOSURE= 12.']).exposureSeconds).toBe(12);
  const both = read(['EXPTIME = -1', 'EXPOSURE= 12.']);
  expect(both.exposureSeconds).toBe(12);
  expect(both.codes).toEqual(['header-value-ignored']);
  expect(read(['FOCPOS  = 77']).focusPosition).toBe(77);
  expect(read(["CAMTEMP = '11 C    '"]).sensorTemperatureC).toBe(11);
});

test('a number in quotes counts; so does one with a decimal comma, with a warning', () => {
  expect(read(["EXPTIME = '53.907456'"])).toMatchObject({ exposureSeconds: 53.907456, codes: [] });
  for (const card of ['EXPTIME = 6,4E-05', "EXPTIME = '6,4E-05'"]) {
    const found = read([card]);
    expect(found).toMatchObject({ exposureSeconds: 6.4e-5, codes: ['decimal-comma'] });
  }
});

test.each([
  'EXPTIME = -3.',
  'EXPTIME = NaN',
  'EXPTIME = 1E300',
  "EXPTIME = 'long'",
  'EXPTIME = T',
  'EXPTIME = (1, 2)',
  'AIRMASS = 0.',
  'CCD-TEMP= -300',
  'SATURATE= 0',
  'FOCALLEN= 0',
  'APTDIA  = -80',
  'XPIXSZ  = 0.0000038',
  'XBINNING= 0',
])('nonsense is left out with a warning: %s', (card) => {
  const { codes, messages, ...metadata } = read([card]);
  expect(codes).toEqual(['header-value-ignored']);
  expect(messages).toContain(card.slice(0, 8).trim());
  for (const value of Object.values(metadata)) expect(value).toBeNull();
});

test('an empty value is no value and no warning', () => {
  expect(read(['EXPTIME =', "FILTER  = '   '"])).toMatchObject({
    exposureSeconds: null,
    filter: null,
    codes: [],
  });
});

test('copies that differ are reported for a keyword that is used', () => {
  const found = read(['AIRMASS = 1.2', 'AIRMASS = 1.3', 'UNUSED  = 1', 'UNUSED  = 2']);
  expect(found).toMatchObject({ airmass: 1.2, codes: ['duplicate-keyword'] });
});

describe('gain', () => {
  test.each([
    [['EGAIN   = 0.5', 'GAIN    = 120'], 0.5, []],
    [['GAIN    = 1.0 / [e-/ADU] detector gain'], 1, []],
    [['GAIN    = 114.6 / Maximum equivalent gain (e-/ADU)'], 114.6, []],
    [['GAIN    = 2 / electrons per ADU'], 2, []],
    [['GAIN    = 2.1 / Amplifier gain'], 2.1, ['gain-assumed']],
    [['GAIN    = 120'], null, ['gain-unknown']],
    [['GAIN    = 0 / The ratio of output / input'], null, ['gain-unknown']],
    [['GAIN    = 100.5'], null, ['gain-unknown']],
    [['GAIN    = -1.5 / e-/ADU'], null, ['header-value-ignored']],
    [["GAIN    = 'high'"], null, ['gain-unknown']],
    [['EGAIN   = 0', 'GAIN    = 1.5 / e/ADU'], 1.5, ['header-value-ignored']],
  ])('%j gives %s', (cards, expected, codes) => {
    const found = read(cards);
    expect(found.gainElectronsPerAdu).toBe(expected);
    expect(found.codes).toEqual(codes);
  });
});

describe('pixel size and binning', () => {
  test.each([
    [['XPIXSZ  = 3.76'], 3.76, []],
    [['XPIXSZ  = 7.52', 'XBINNING= 2'], 7.52, ['pixel-size-binning']],
    [['XPIXSZ  = 3.76 / unbinned pixel width', 'XBINNING= 2'], 7.52, []],
    [['PIXSIZE1= 3.76', 'XBINNING= 2'], 7.52, []],
    [['PIXSIZE1= 3.76'], 3.76, []],
    [['XPIXSZ  = 0', 'PIXSIZE1= 3.76'], 3.76, ['header-value-ignored']],
    [['XPIXSZ  = 4.', 'YPIXSZ  = 6.'], 4, ['unequal-pixels']],
    [['PIXSIZE1= 4.', 'XBINNING= 2', 'YBINNING= 1'], 8, ['unequal-binning']],
  ])('%j gives %s um', (cards, expected, codes) => {
    const found = read(cards);
    expect(found.pixelSizeUm).toBe(expected);
    expect(found.codes).toEqual(codes);
  });
});

describe('pedestal: the level of no light', () => {
  test.each([
    ['PEDESTAL= 100', 100],
    ['PEDESTAL= -100 / Correction to add for zero-based ADU', 100],
    ['PEDESTAL= 100 / Correction to add for zero-based ADU', -100],
    ['PEDESTAL= -100', 100],
    ['PEDESTAL= 0 / Correction to add for zero-based ADU', 0],
  ])('%s', (card, expected) => {
    expect(read([card]).pedestalAdu).toBe(expected);
  });
});

describe('date of observation (§4.4.2.1)', () => {
  test.each([
    [["DATE-OBS= '2026-11-25'"], '2026-11-25'],
    [["DATE-OBS= '2026-11-25T01:02:03'"], '2026-11-25T01:02:03'],
    [["DATE-OBS= '2020-02-19'", "TIME-OBS= '05:56:02.07'"], '2020-02-19T05:56:02.07'],
    [["DATE-OBS= '2020-02-19'", "TIME-OBS= 'noon'"], '2020-02-19'],
    [["DATE-OBS= '26/10/92'"], '1992-10-26'],
    [['DATE-OBS= 2026-11-25'], '2026-11-25'],
  ])('%j', (cards, expected) => {
    expect(read(cards)).toMatchObject({ dateObs: expected, codes: [] });
  });

  test.each(['26/07/102', 'yesterday', '2026-13-45', '2026-11-25T01:02:03; rm -rf'])(
    '%s is left out',
    (text) => {
      expect(read([`DATE-OBS= '${text}'`])).toMatchObject({
        dateObs: null,
        codes: ['header-value-ignored'],
      });
    },
  );
});

test('options win, and the header value they replace is not even looked at', () => {
  const cards = ['FOCALLEN= 0', 'APTDIA  = 0', 'XPIXSZ  = -1', 'GAIN    = 120', 'SATURATE= -5'];
  const found = read(cards, {
    focalLengthMm: 400,
    apertureMm: 72,
    pixelSizeUm: 2.4,
    gainElectronsPerAdu: 0.8,
    saturationAdu: 4000,
  });
  expect(found).toMatchObject({
    focalLengthMm: 400,
    apertureMm: 72,
    pixelSizeUm: 2.4,
    gainElectronsPerAdu: 0.8,
    saturationAdu: 4000,
    codes: [],
  });
});

test('text stays raw but is cut', () => {
  const control = '\u001b[31mred';
  expect(read([`OBJECT  = '${control}'`]).object).toBe(control);
  const long = [`OBJECT  = '${'x'.repeat(67)}&'`];
  for (let i = 0; i < 20; i++) long.push(`CONTINUE  '${'y'.repeat(60)}&'`);
  expect(read(long).object?.length).toBe(256);
  expect(read(['OBJECT  = 47']).object).toBe('47');
});
