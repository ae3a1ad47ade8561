/** `bluerim field --bias` with a frame that does not fit: exit code 1, named on stderr, and the stars are measured all the same. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';
import { starFrame, TELESCOPE_CARDS } from '../helpers/star-frame.js';

test('a bias frame of another size', async () => {
  const cwd = temporaryFolder();
  const frame = { pattern: null, cards: TELESCOPE_CARDS } as const;
  writeFileSync(join(cwd, 'stars.fits'), starFrame({ ...frame, width: 300, height: 240 }));
  writeFileSync(join(cwd, 'bias.fits'), starFrame({ ...frame, width: 200, height: 160 }));
  const { code, stdout, stderr } = await bluerim(
    ['field', '--bias', 'bias.fits', '--pedestal', '100', 'stars.fits'],
    { cwd },
  );
  expect(code).toBe(1);
  expect(stderr).toMatch(/bias\.fits: .*200 × 160 px, the frame 300 × 240/);
  expect(stderr).toContain('--pedestal');
  expect(stdout).toContain('300 × 240 px');
  expect(stdout.replace(/\s+/g, ' ')).toContain('the bias frame cannot be used');
}, 90_000);
