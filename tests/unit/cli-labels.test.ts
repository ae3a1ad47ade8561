/** `LABEL=FRAME` and `--telescope`. */
import { describe, expect, test } from 'vitest';
import { readLabels, readTelescopes } from '../../src/cli/labels.js';

describe('labels', () => {
  test.each([
    [['a=1.fits', 'b=2.fits'], { a: ['1.fits'], b: ['2.fits'] }],
    [['a=1.fits', '2.fits', 'b=', '3.fits'], { a: ['1.fits', '2.fits'], b: ['3.fits'] }],
    // Only the first = counts; a path in front of it is no label.
    [
      ['a=x=1.fits', './y=2.fits', 'b=night=1/z.fits', 'night=2/z.fits'],
      { a: ['x=1.fits', './y=2.fits'], b: ['night=1/z.fits'], night: ['2/z.fits'] },
    ],
    [['my 80 mm=1.fits', ' ü =2.fits'], { 'my 80 mm': ['1.fits'], ü: ['2.fits'] }],
    [['a=-', 'b=x\ny.fits'], { a: ['-'], b: ['x\ny.fits'] }],
  ])('%j', (args, wanted) => {
    const labels = readLabels(args);
    expect(Object.fromEntries(labels.map(({ label, names }) => [label, names]))).toEqual(wanted);
  });

  test.each([
    [[], /no telescope is named/],
    [['a=1.fits'], /only one telescope/],
    [['1.fits', 'a=2.fits'], /1\.fits: which telescope/],
    [['a=1.fits', 'a=2.fits'], /two telescopes are called a/],
    [['a=1.fits', 'b='], /no frame of b/],
    [['=1.fits', 'b=2.fits'], /no name/],
    [['not comparable=1.fits', 'b=2.fits'], /cannot be the name/],
    [['__proto__=1.fits', 'b=2.fits'], /cannot be the name/],
    [['a=-', 'b=-'], /two telescopes/],
  ])('%j is refused', (args, message) => {
    expect(() => readLabels(args)).toThrow(message);
  });
});

describe('--telescope', () => {
  const labels = readLabels(['a=1.fits', 'a:b=2.fits']);

  test('every key, the longest label, and what holds for all', () => {
    const facts = readTelescopes(
      [
        'a:aperture=80,focal-length=480',
        'a:b:pixel-size=3.76, gain=1.5,saturation=65000,seeing=2.5',
      ],
      labels,
      { apertureMm: 100, cfa: 'RGGB' },
    );
    expect(facts).toEqual([
      { overrides: { cfa: 'RGGB', apertureMm: 80, focalLengthMm: 480 }, seeingArcsec: null },
      {
        overrides: {
          cfa: 'RGGB',
          apertureMm: 100,
          pixelSizeUm: 3.76,
          gainElectronsPerAdu: 1.5,
          saturationAdu: 65000,
        },
        seeingArcsec: 2.5,
      },
    ]);
  });

  test.each([
    [['c:aperture=80'], /no telescope of that name/],
    [['a'], /no telescope of that name/],
    [['a:'], /“” is not known/],
    [['a:diameter=80'], /“diameter” is not known/],
    [['a:aperture'], /aperture is no number above 0/],
    [['a:aperture=0'], /no number above 0/],
    [['a:aperture=80mm'], /no number above 0/],
    [['a:aperture=80=90'], /no number above 0/],
    [['a:aperture=80,'], /“” is not known/],
  ])('%j is refused', (values, message) => {
    expect(() => readTelescopes(values, labels, {})).toThrow(message);
  });
});
