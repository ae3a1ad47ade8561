/** `bluerim field` from the command line: text, JSON, pictures, faults. What it finds is tested with the model. */
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { FieldDocument } from '../../src/report/field-json.js';
import { fieldDocumentSchema } from '../../src/report/schema-field.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';
import { starFrame, TELESCOPE_CARDS } from '../helpers/star-frame.js';

const TIMEOUT = 90_000;
/** Round stars of one size everywhere. They are Gaussian, without the wings that air makes, so that plain defocus is not excluded. */
const SOUND = starFrame({ pattern: null, width: 400, height: 320, cards: TELESCOPE_CARDS });

function folderWith(frames: Record<string, Uint8Array>): string {
  const cwd = temporaryFolder();
  for (const [name, bytes] of Object.entries(frames)) writeFileSync(join(cwd, name), bytes);
  return cwd;
}

describe('field', () => {
  test(
    'nothing that differs over the frame is found in even stars, as text and as JSON',
    async () => {
      const cwd = folderWith({ 'sound.fits': SOUND });
      const text = await bluerim(['field', 'sound.fits'], { cwd });
      expect(text.code, text.stderr).toBe(0);
      expect(text.stdout).toMatch(
        /^sound\.fits\n400 × 320 px, 1\.939″ per px; \d+ stars in 1 frame/,
      );
      expect(text.stdout).toMatch(/Corners sound|Out of focus/);
      expect(text.stdout).not.toMatch(/tilt|curvature|miscollimation|tracking/i);
      const json = await bluerim(['field', '--json', 'sound.fits'], { cwd });
      const document = JSON.parse(json.stdout) as FieldDocument;
      fieldDocumentSchema.parse(document);
      const [set] = document.sets;
      // σ = 1.5 px: 2.3548 σ, and the width of the pixel in quadrature.
      if (!set || set.leading === null) throw new Error('no set');
      expect(set.frames).toBe(1);
      expect(['none', 'defocus']).toContain(set.leading);
      const centre = set.places.find(({ place }) => place === 'centre');
      expect(Math.abs((centre?.fwhmPx?.value ?? 0) / (2.3548 * 1.5) - 1)).toBeLessThan(0.03);
    },
    TIMEOUT,
  );

  test(
    'the well-corrected circle: to the corners in even stars, and its limits are checked',
    async () => {
      const cwd = folderWith({ 'sound.fits': SOUND });
      const text = await bluerim(
        ['field', '--max-growth', '1.3', '--max-ellipticity', '0.2', 'sound.fits'],
        { cwd },
      );
      expect(text.code, text.stderr).toBe(0);
      // Half diagonal of 400 × 320 px: 256.1 px; 0.96 mm at 3.76 µm, less than any usual sensor's.
      expect(text.stdout.replace(/\s+/g, ' ')).toMatch(
        /sharp circle reaches the corners, 256 px, 1\.0 mm.*FWHM at most 1\.30 ×.*ellipticity at most 0\.20/,
      );
      const json = await bluerim(['field', '--json', '--max-growth', '1.3', 'sound.fits'], { cwd });
      const document = JSON.parse(json.stdout) as FieldDocument;
      fieldDocumentSchema.parse(document);
      expect(document.parameters).toMatchObject({ maxGrowth: 1.3, maxEllipticity: 0.1 });
      const [set] = document.sets;
      if (!set || set.leading === null) throw new Error('no set');
      expect(set.correctedCircle).toMatchObject({
        status: 'whole frame',
        maxGrowth: 1.3,
        formatMm: null,
      });
      expect(Math.abs((set.correctedCircle?.atLeastPx ?? 0) - 256.1)).toBeLessThan(0.1);
      for (const wrong of [
        ['--max-growth', '1'],
        ['--max-growth', 'x'],
        ['--max-ellipticity', '1'],
        ['--max-ellipticity', '0'],
      ]) {
        const run = await bluerim(['field', ...wrong, 'sound.fits'], { cwd });
        expect(run.code).toBe(2);
        expect(run.stderr).toContain(wrong[0]);
      }
    },
    TIMEOUT,
  );

  test(
    'pictures are whole, safe SVG files that are not overwritten unasked',
    async () => {
      const name = '<b>&"sound.fits';
      const cwd = folderWith({ [name]: SOUND });
      const run = await bluerim(['field', '--svg', 'pictures', name], { cwd });
      expect(run.code, run.stderr).toBe(0);
      expect(readdirSync(join(cwd, 'pictures')).sort()).toEqual([
        'size.svg',
        'stars.svg',
        'whiskers.svg',
      ]);
      for (const file of readdirSync(join(cwd, 'pictures'))) {
        const svg = readFileSync(join(cwd, 'pictures', file), 'utf8');
        expect(svg).toMatch(/^<svg xmlns="http:\/\/www\.w3\.org\/2000\/svg"[\s\S]*<\/svg>\n$/);
        expect(svg).toContain('&lt;b&gt;&amp;&quot;sound.fits');
        expect(svg).not.toContain('<b>');
        // Nothing is fetched: the only address is the namespace.
        expect(svg.match(/https?:/g)).toHaveLength(1);
        expect(svg).not.toMatch(/NaN|undefined|Infinity/);
      }
      const again = await bluerim(['field', '--svg', 'pictures', name], { cwd });
      expect(again.code).toBe(2);
      expect(again.stderr).toContain('exists already');
    },
    TIMEOUT,
  );

  test(
    'a second set gives the turn of the camera, and one bad frame stops nothing',
    async () => {
      const cwd = folderWith({ 'a.fits': SOUND, 'bad.fits': Buffer.from('SIMPLE  = oh') });
      const run = await bluerim(['field', '--json', 'a.fits', 'bad.fits', '--rotated', 'a.fits'], {
        cwd,
      });
      expect(run.code).toBe(1);
      expect(run.stderr).toMatch(/^error: bad\.fits: .+\n {2}what to do: /m);
      const document = JSON.parse(run.stdout) as FieldDocument;
      fieldDocumentSchema.parse(document);
      expect(document.sets).toHaveLength(2);
      expect(Math.abs(document.rotation?.angleDeg ?? 99)).toBeLessThan(0.1);
    },
    TIMEOUT,
  );

  test('nothing named, nothing readable', async () => {
    const cwd = folderWith({});
    expect((await bluerim(['field'], { cwd })).code).toBe(2);
    const missing = await bluerim(['field', 'nothing.fits', '-o', 'out.json'], { cwd });
    expect(missing.code).toBe(1);
    expect(missing.stderr).toContain('nothing.fits: no such file');
    expect(existsSync(join(cwd, 'out.json'))).toBe(true);
    fieldDocumentSchema.parse(JSON.parse(readFileSync(join(cwd, 'out.json'), 'utf8')));
  });
});
