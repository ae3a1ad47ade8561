/** Filter names of common practice; no standard lists them. */
import { describe, expect, it } from 'vitest';
import { channelOfFileName, channelOfFilter } from '../../src/frame/filter-name.js';

describe('channelOfFilter', () => {
  it.each([
    ['R', 'R'],
    ['red', 'R'],
    ['Red filter', 'R'],
    ['Cousins R', 'R'],
    ["r'", 'R'],
    ['sdss-r', 'R'],
    ['Green', 'G'],
    ['G', 'G'],
    ['Johnson V', 'G'],
    ['GRÜN', 'G'],
    ['b', 'B'],
    ['BLUE  ', 'B'],
    ['B_1', 'B'],
  ])('%s is %s', (name, channel) => {
    expect(channelOfFilter(name)).toBe(channel);
  });

  it.each(['', 'L', 'Lum', 'Clear', 'Ha', 'OIII', 'SII 6nm', 'RGGB', 'i', 'z', 'R+B', 'UV/IR cut'])(
    '%s is none of the three',
    (name) => {
      expect(channelOfFilter(name)).toBeNull();
    },
  );
});

describe('channelOfFileName', () => {
  it.each([
    ['/night/M13_R_001.fits', 'R'],
    ['m13-green-120s.fit', 'G'],
    ['Cluster B 3.fits', 'B'],
    ['frame_r.fits', 'R'],
  ])('%s: %s', (path, channel) => {
    expect(channelOfFileName(path)).toBe(channel);
  });

  it.each(['M13_001.fits', 'r_and_b.fits', '/R/light.fits', 'grb.fits'])(
    '%s tells none',
    (path) => {
      expect(channelOfFileName(path)).toBeNull();
    },
  );
});
