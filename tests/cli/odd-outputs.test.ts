/** Outputs that take nothing: a full disk, and a place where no folder can be made. */
import { spawnSync } from 'node:child_process';
import { closeSync, existsSync, openSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { BIN, bluerim } from '../helpers/run-bin.js';

describe('outputs that take nothing', () => {
  // Linux: writing to it always fails with "no space left" (full(4)).
  test.skipIf(!existsSync('/dev/full'))('a full disk is told in two lines, without a trace', () => {
    const full = openSync('/dev/full', 'w');
    const { status, stderr } = spawnSync(process.execPath, [BIN, 'schema', 'compare'], {
      stdio: ['ignore', full, 'pipe'],
      encoding: 'utf8',
    });
    closeSync(full);
    expect(status).toBe(2);
    expect(stderr).toBe(
      'error: the result cannot be written (no space is left)\n  what to do: make room, or name another place with -o\n',
    );
  });

  test.skipIf(!existsSync('/proc/self'))(
    'a folder that cannot be made is refused at once',
    async () => {
      const { code, signal, stderr } = await bluerim(
        ['field', 'nothing.fits', '--svg', '/proc/bluerim-pictures'],
        { timeout: 20_000 },
      );
      expect([code, signal]).toEqual([2, null]);
      expect(stderr).toMatch(/^error: \/proc\/bluerim-pictures: the folder cannot be made/);
    },
  );
});
