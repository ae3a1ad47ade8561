/** One star through several telescopes side by side, as a PNG. For looking at only: nothing is measured from it. */
import type { CfaPattern } from '../frame/frame.js';
import { letters } from './lettering.js';

/** A square cut from a colour mosaic; its first sample is a site of the first letter of `pattern`. */
export interface MosaicCrop {
  /** `size` × `size` samples, row-major, ADU. */
  samples: Float32Array;
  size: number;
  pattern: CfaPattern;
  /** Background of each colour, ADU. */
  background: { R: number; G: number; B: number };
}

/** One panel with the two lines under it. */
export interface Panel {
  crop: MosaicCrop;
  title: string;
  line: string;
}

const COLOURS = ['R', 'G', 'B'] as const;

/**
 * Full colour by the mean of each colour's own sites in the surrounding 3 × 3 samples, background taken off: `size` ×
 * `size` × 3, ADU. Good enough to look at; it widens stars, so nothing is measured from it.
 */
export function colourForDisplay(crop: MosaicCrop): Float32Array {
  const { samples, size, pattern, background } = crop;
  const colourAt = (x: number, y: number): number =>
    COLOURS.indexOf(pattern[2 * (y & 1) + (x & 1)] as 'R' | 'G' | 'B');
  const levels = COLOURS.map((name) => background[name]);
  const out = new Float32Array(size * size * 3);
  for (let y = 0; y < size; y++) {
    for (let x = 0; x < size; x++) {
      const sum = [0, 0, 0];
      const count = [0, 0, 0];
      for (let v = Math.max(0, y - 1); v <= Math.min(size - 1, y + 1); v++) {
        for (let u = Math.max(0, x - 1); u <= Math.min(size - 1, x + 1); u++) {
          const colour = colourAt(u, v);
          // Weights of bilinear interpolation: direct neighbours count twice as much as diagonal ones.
          const weight = (u === x ? 2 : 1) * (v === y ? 2 : 1);
          sum[colour] = (sum[colour] as number) + weight * (samples[v * size + u] as number);
          count[colour] = (count[colour] as number) + weight;
        }
      }
      for (let c = 0; c < 3; c++) {
        out[(y * size + x) * 3 + c] =
          (sum[c] as number) / (count[c] as number) - (levels[c] as number);
      }
    }
  }
  return out;
}

/** Totals of each colour over a panel, for white balance. */
function totals(colour: Float32Array): [number, number, number] {
  const sum: [number, number, number] = [0, 0, 0];
  for (let i = 0; i < colour.length; i += 3) {
    for (let c = 0; c < 3; c++) sum[c] = (sum[c] as number) + (colour[i + c] as number);
  }
  return sum;
}

/** Level that is shown as half-bright, as a share of the brightest sample: faint wings come out, cores keep shape. */
const SOFT = 0.0015;

/**
 * 8-bit RGB of each panel with one balance and one stretch for all: the last panel's star is white on the whole, and
 * the brightest of all samples is full. value = asinh(v / s) / asinh(1 / s) with s = 0.0015.
 */
export function stretchTogether(colours: readonly Float32Array[]): Uint8Array[] {
  const reference = colours.at(-1);
  if (reference === undefined) return [];
  const whole = totals(reference);
  const gains = whole.map((total) => (total > 0 ? whole[1] / total : 1));
  let brightest = 0;
  for (const colour of colours) {
    for (let i = 0; i < colour.length; i++) {
      brightest = Math.max(brightest, (colour[i] as number) * (gains[i % 3] as number));
    }
  }
  const full = Math.asinh(1 / SOFT);
  return colours.map((colour) => {
    const out = new Uint8Array(colour.length);
    for (let i = 0; i < colour.length; i++) {
      const share = Math.max(0, ((colour[i] as number) * (gains[i % 3] as number)) / brightest);
      out[i] = Math.min(255, Math.round((255 * Math.asinh(share / SOFT)) / full));
    }
    return out;
  });
}

const ZOOM = 6;
const MARGIN = 16;
const LABEL = 72;

/** PNG of the panels, left to right, with their labels. All crops must be of one size. */
export async function panelsPng(panels: readonly Panel[]): Promise<Uint8Array> {
  const { default: sharp } = await import('sharp');
  const size = panels[0]?.crop.size ?? 1;
  const side = size * ZOOM;
  const width = MARGIN + panels.length * (side + MARGIN);
  const height = MARGIN + side + LABEL;
  const pictures = stretchTogether(panels.map((panel) => colourForDisplay(panel.crop)));
  const layers = await Promise.all(
    pictures.map(async (pixels, i) => ({
      input: await sharp(pixels, { raw: { width: size, height: size, channels: 3 } })
        .resize(side, side, { kernel: 'cubic' })
        .png()
        .toBuffer(),
      left: MARGIN + i * (side + MARGIN),
      top: MARGIN,
    })),
  );
  const labels = panels
    .map((panel, i) => {
      const x = MARGIN + i * (side + MARGIN) + 4;
      return (
        letters(panel.title, x, MARGIN + side + 32, 16, '#f0f0f0') +
        letters(panel.line, x, MARGIN + side + 58, 12, '#9fb4d8')
      );
    })
    .join('');
  const svg = `<svg xmlns="http://www.w3.org/2000/svg" width="${width}" height="${height}">${labels}</svg>`;
  return sharp({ create: { width, height, channels: 3, background: '#16181d' } })
    .composite([...layers, { input: Buffer.from(svg), left: 0, top: 0 }])
    .png({ compressionLevel: 9 })
    .toBuffer();
}
