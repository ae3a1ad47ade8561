/** A page of `field` from a hand-made record. The numbers are invented: nothing here was measured. */
import { ninthsOf } from '../../src/field/ninths.js';
import type { FieldSetOutcome } from '../../src/field/outcome.js';
import type { FieldCell } from '../../src/field/result.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { fieldDocument } from '../../src/report/field-json.js';
import { fieldPage } from '../../src/report/field-page.js';
import { fieldPictures } from '../../src/report/field-pictures.js';
import { u } from './frame-result.js';

const SIDE = 300;

function cells(): FieldCell[] {
  return Array.from({ length: 9 }, (_, i) => {
    const [column, row] = [i % 3, Math.floor(i / 3)];
    const [left, bottom] = [column * SIDE - 0.5, row * SIDE - 0.5];
    return {
      x: left + SIDE / 2,
      y: bottom + SIDE / 2,
      left,
      bottom,
      right: left + SIDE,
      top: bottom + SIDE,
      stars: 12 + i,
      fwhmPx: u(2.4 + 0.3 * ((i * 4) % 9), 0.04),
      redFwhmPx: null,
      blueFwhmPx: u(3.1, 0.2),
      e1: 0.02 * column,
      e2: -0.01 * row,
      ellipticityError: 0.004,
      skewX: 0,
      skewY: 0,
      skewError: 0.01,
      stamp: null,
    };
  });
}

/** @param text stands wherever a record carries text from outside: file names and warnings */
export function fieldPageFixture(text: string): string {
  const all = cells();
  const set: FieldSetOutcome = {
    files: [`${text}.fits`],
    failed: [{ file: text, error: { code: 'truncated', message: text, remedy: 'copy it again' } }],
    width: 3 * SIDE,
    height: 3 * SIDE,
    layout: 'cfa',
    pixelSizeUm: 3.8,
    focalRatio: 6,
    scaleArcsecPerPx: 1.5,
    places: ninthsOf(all, 3 * SIDE, 3 * SIDE),
    stars: 144,
    frames: 1,
    causes: [
      {
        cause: 'tilt',
        strength: u(41, 6),
        unit: 'µm',
        confidence: 0.8,
        effectPx: 1.2,
        directionDeg: u(30, 8),
        evidence: ['Invented evidence: the left side is larger.'],
        alternatives: ['a turned flattener'],
        nextCheck: 'turn the camera and measure again',
        caution: 'confirm it before turning a screw',
      },
    ],
    leading: 'tilt',
    between: [],
    summary: 'Invented summary: the sensor is tilted.',
    model: null,
    colourShift: null,
    cells: all,
    starsLeftOut: {},
    correctedCircle: null,
    illumination: null,
  };
  const outcome = { sets: [set], warnings: [{ code: 'odd', message: text, file: text }] };
  const pictures = fieldPictures(
    set,
    text,
    all.map(() => null),
  );
  return fieldPage(fieldDocument(outcome, DEFAULT_MEASURE_OPTIONS, {}), [pictures]);
}
