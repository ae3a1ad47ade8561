/** A bias frame that cannot be used is a fault that is told, and no other level of no light takes its place. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test, vi } from 'vitest';
import { biasMismatch, measureBias, pedestalFor } from '../../src/field/pedestal.js';
import { measureShapes } from '../../src/field/shapes.js';
import { openFrame } from '../../src/frame/open.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { searchFrame } from '../../src/measure/search-frame.js';
import { analyseFieldFiles } from '../../src/pool/analyse-field.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { memoryFrame } from '../helpers/memory-frame.js';
import { temporaryFolder } from '../helpers/run-bin.js';
import { starFrame } from '../helpers/star-frame.js';

vi.setConfig({ testTimeout: 60_000 });

function biasFrame(options: {
  width?: number;
  layout?: 'mono' | 'cfa' | 'rgb';
  cfa?: 'RGGB' | 'GRBG';
  binning?: number | null;
  /** Level of each site of a 2 × 2 mosaic. */
  sites?: number[];
}) {
  const { width = 128, layout = 'mono', binning = null, sites = [512, 512, 512, 512] } = options;
  const height = 96;
  const random = createRandom(4);
  const planes = layout === 'rgb' ? 3 : 1;
  const data = Uint16Array.from({ length: width * height * planes }, (_, i) => {
    const site = (Math.floor(i / width) & 1) * 2 + ((i % width) & 1);
    return Math.round((sites[site] as number) + 3 * normal(random));
  });
  return memoryFrame({
    width,
    height,
    layout,
    data,
    metadata: { binning },
    ...(options.cfa && { cfa: options.cfa }),
  });
}

describe('a bias frame belongs to a frame', () => {
  const bias = (options: Parameters<typeof biasFrame>[0]) => measureBias(biasFrame(options));

  test('of the same size, binning and kind', () => {
    const frame = biasFrame({ binning: 1 });
    expect(biasMismatch(frame, bias({ binning: 1 }))).toBeNull();
    expect(biasMismatch(frame, bias({ binning: null }))).toBeNull();
    expect(biasMismatch(frame, bias({ width: 64 }))).toContain('64 × 96 px, the frame 128 × 96');
    expect(biasMismatch(frame, bias({ binning: 2 }))).toContain('binned 2');
    expect(biasMismatch(frame, bias({ layout: 'rgb' }))).toContain('colour');
    expect(biasMismatch(biasFrame({ layout: 'cfa' }), bias({}))).toBeNull();
  });

  test('levels that differ from site to site are used only for a mosaic of the same order', () => {
    const measured = bias({ layout: 'cfa', cfa: 'RGGB', sites: [510, 512, 512, 514] });
    const same = pedestalFor(biasFrame({ layout: 'cfa', cfa: 'RGGB' }), measured);
    expect(same.latticeAdu).toHaveLength(4);
    const other = pedestalFor(biasFrame({ layout: 'cfa', cfa: 'GRBG' }), measured);
    expect(other.latticeAdu).toBeNull();
    expect(Math.abs(other.adu - 512)).toBeLessThan(0.2);
    // The sites lie up to 2 ADU off the one level that stands for all.
    expect(other.errorAdu).toBeGreaterThan(1.8);
  });
});

describe('the field with a bias frame that cannot be used', () => {
  const SMALL = { pattern: null, cards: [] } as const;

  async function fieldWith(biasBytes: Uint8Array | null) {
    const folder = temporaryFolder();
    const frame = join(folder, 'stars.fits');
    const bias = join(folder, 'bias.fits');
    writeFileSync(frame, starFrame({ ...SMALL, width: 300, height: 240 }));
    if (biasBytes) writeFileSync(bias, biasBytes);
    return analyseFieldFiles({
      sets: [[{ file: frame, fault: null }]],
      options: DEFAULT_MEASURE_OPTIONS,
      overrides: {},
      pedestalAdu: 100,
      bias,
    });
  }

  test.each([
    [
      'of another size',
      starFrame({ ...SMALL, width: 200, height: 160 }),
      'bias-unlike',
      /200 × 160/,
    ],
    ['missing', null, 'missing', /bias\.fits/],
    ['no image', new TextEncoder().encode('no frame at all'), null, /./],
  ])('%s: named as failed, no fall-off, stars all the same', async (_, bytes, code, message) => {
    const { sets } = await fieldWith(bytes);
    const [set] = sets;
    if (!set || set.leading === null) throw new Error('no set');
    expect(set.failed).toHaveLength(1);
    const [{ file, error }] = set.failed as [(typeof set.failed)[number]];
    expect(file).toMatch(/bias\.fits$/);
    if (code !== null) expect(error.code).toBe(code);
    expect(`${error.message} ${file}`).toMatch(message);
    expect(set.illumination).toMatchObject({ status: 'cannot tell', pedestal: null, channels: [] });
    expect(set.illumination?.reason).toContain('bias frame');
    expect(set.frames).toBe(1);
  });
});

test('asking for the light fall-off takes no star from the field', async () => {
  const file = join(temporaryFolder(), 'field.fits');
  writeFileSync(file, starFrame({ width: 480, height: 400, pattern: null, peak: 300 }));
  const outcome = await analyseFieldFiles({
    sets: [[{ file, fault: null }]],
    options: { ...DEFAULT_MEASURE_OPTIONS, maxStars: 1500 },
    overrides: {},
    pedestalAdu: 500,
    bias: null,
  });
  const frame = await openFrame(file, {});
  const searched = searchFrame(frame, { ...DEFAULT_MEASURE_OPTIONS, maxStars: 1500 }, () => {});
  const { n } = measureShapes(searched);
  frame.rows.close();
  const [set] = outcome.sets;
  expect(n).toBeGreaterThan(100);
  expect(set && 'stars' in set ? set.stars : null).toBe(n);
});
