import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { letters } from '../../src/report/lettering.js';
import {
  colourForDisplay,
  type MosaicCrop,
  panelsPng,
  stretchTogether,
} from '../../src/report/picture.js';

/** A mosaic whose sites carry one level per colour over a background. */
function flatCrop(pattern: MosaicCrop['pattern'], size = 6): MosaicCrop {
  const level = { R: 110, G: 220, B: 330 };
  const samples = new Float32Array(size * size);
  for (let y = 0; y < size; y++) {
    for (let x = 0; x < size; x++) {
      samples[y * size + x] = level[pattern[2 * (y & 1) + (x & 1)] as 'R' | 'G' | 'B'];
    }
  }
  return { samples, size, pattern, background: { R: 10, G: 20, B: 30 } };
}

describe('colour for display', () => {
  test.each(['RGGB', 'BGGR', 'GRBG', 'GBRG'] as const)(
    '%s: every pixel gets its three colours, borders included',
    (pattern) => {
      const colour = colourForDisplay(flatCrop(pattern));
      for (let i = 0; i < colour.length; i += 3) {
        expect([...colour.subarray(i, i + 3)]).toEqual([100, 200, 300]);
      }
    },
  );

  test('one balance and one stretch: the reference becomes grey, the same light the same value', () => {
    const bright = colourForDisplay(flatCrop('RGGB'));
    const faint = bright.map((value) => value / 10);
    const [first, second] = stretchTogether([faint, bright]);
    expect([...(second as Uint8Array).subarray(0, 3)]).toEqual([255, 255, 255]);
    // asinh(0.1 / 0.0015) / asinh(1 / 0.0015) = 4.8929 / 7.1954 = 0.6800 → 173
    expect([...(first as Uint8Array).subarray(0, 3)]).toEqual([173, 173, 173]);
  });

  test('darkness stays dark, and no panel gives no picture', () => {
    const below = new Float32Array([-5, -5, -5, 10, 10, 10]);
    expect([...(stretchTogether([below])[0] as Uint8Array)]).toEqual([0, 0, 0, 255, 255, 255]);
    expect(stretchTogether([])).toEqual([]);
  });
});

test('letters are strokes; unknown ones leave a gap', () => {
  expect(letters('ab', 0, 20, 16, '#fff').match(/<path/g)).toHaveLength(2);
  expect(letters('a☃b', 0, 20, 16, '#fff').match(/<path/g)).toHaveLength(2);
  expect(letters('<&', 0, 20, 16, '#fff')).not.toMatch(/&|<(?!\/?g|path)/);
});

test('panels side by side with room for labels', async () => {
  const png = await panelsPng(
    ['one', 'two', 'three'].map((title) => ({ crop: flatCrop('RGGB', 8), title, line: '12 %' })),
  );
  // 16 + 3 × (8 × 6 + 16) = 208 wide; 16 + 48 + 72 = 136 high
  expect(await sharp(png).metadata()).toMatchObject({ format: 'png', width: 208, height: 136 });
});
