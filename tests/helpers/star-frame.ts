/** Small frames of made-up Gaussian stars as FITS bytes, quick to make: for tests of the command line, not of accuracy. */
import { encodeFits, type WritableCard } from '../../src/frame/fits/write.js';
import { createRandom, normal } from '../../src/stats/random.js';

export interface StarFrame {
  width?: number;
  height?: number;
  /** Distance between stars of the grid, px. 0 = no stars. */
  spacing?: number;
  /** At most so many stars. */
  stars?: number;
  /** Peak of the brightest star above the background, ADU. */
  peak?: number;
  sigma?: number;
  /** Factor on σ of the sites of each colour. */
  wider?: Partial<Record<'R' | 'G' | 'B', number>>;
  seed?: number;
  cards?: readonly WritableCard[];
  /** Mosaic order, or null for a mono frame. */
  pattern?: 'RGGB' | null;
}

/** A frame with 500 ADU of background, noise of 8 ADU and stars on a slightly shaken grid. */
export function starFrame(options: StarFrame = {}): Uint8Array {
  const { width = 192, height = 160, spacing = 24, stars = Number.POSITIVE_INFINITY } = options;
  const { peak = 9000, sigma = 1.5, wider = {}, seed = 5, pattern = 'RGGB', cards = [] } = options;
  const random = createRandom(seed);
  const data = new Uint16Array(width * height);
  const light = new Float64Array(width * height);
  let placed = 0;
  for (let gy = spacing / 2; spacing > 0 && gy < height; gy += spacing) {
    for (let gx = spacing / 2; gx < width && placed < stars; gx += spacing, placed++) {
      const x0 = gx + 2 * random() - 1;
      const y0 = gy + 2 * random() - 1;
      const height0 = peak * (0.15 + 0.85 * random());
      for (let y = Math.max(0, Math.floor(y0 - 12)); y < Math.min(height, y0 + 13); y++) {
        for (let x = Math.max(0, Math.floor(x0 - 12)); x < Math.min(width, x0 + 13); x++) {
          const colour = pattern === null ? 'G' : pattern[2 * (y & 1) + (x & 1)];
          const factor = wider[colour as 'R' | 'G' | 'B'] ?? 1;
          const s2 = (sigma * factor) ** 2;
          const index = y * width + x;
          light[index] =
            (light[index] as number) +
            (height0 / factor ** 2) * Math.exp(-((x - x0) ** 2 + (y - y0) ** 2) / (2 * s2));
        }
      }
    }
  }
  for (let i = 0; i < data.length; i++) {
    const value = 500 + 8 * normal(random) + (light[i] as number);
    data[i] = Math.max(0, Math.min(65535, Math.round(value)));
  }
  const layout: WritableCard[] = pattern === null ? [] : [{ keyword: 'BAYERPAT', value: pattern }];
  return encodeFits({ width, height, planes: 1, data }, [...layout, ...cards]);
}

/** Cards of an invented telescope of 400 mm focal length and 80 mm aperture with 3.76 µm pixels: 1.939″ per px. */
export const TELESCOPE_CARDS: readonly WritableCard[] = [
  { keyword: 'FOCALLEN', value: 400 },
  { keyword: 'APTDIA', value: 80 },
  { keyword: 'XPIXSZ', value: 3.76 },
];
