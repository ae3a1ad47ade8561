import { describe, expect, test } from 'vitest';
import { colorLevel } from '../../src/cli/terminal.js';

describe('colour', () => {
  // no-color.org: "when present and not an empty string (regardless of its value), prevents the addition of ANSI color"
  test.each([
    ['auto', {}, 3, 3],
    ['auto', { NO_COLOR: '1' }, 3, 0],
    ['auto', { NO_COLOR: '0' }, 3, 0],
    ['auto', { NO_COLOR: '' }, 3, 3],
    ['auto', {}, 0, 0],
    ['never', {}, 3, 0],
    ['always', { NO_COLOR: '1' }, 0, 1],
    ['always', {}, 2, 2],
  ] as const)(
    '%s with %o on a terminal of level %i gives %i',
    (choice, environment, supported, level) => {
      expect(colorLevel(choice, environment, supported)).toBe(level);
    },
  );
});
