/** The words that reports use for channels, layouts, reasons and levels. Formatting only: nothing is judged here. */
import type { ChannelName, FrameResult } from '../measure/result.js';
import { count, significant } from './number.js';

export const CHANNEL_WORDS: Readonly<Record<ChannelName, string>> = {
  R: 'red',
  G: 'green',
  B: 'blue',
  L: 'mono',
};

/** Order in which channels are listed everywhere. */
export const CHANNEL_ORDER: readonly ChannelName[] = ['R', 'G', 'B', 'L'];

export const HALO_ROWS: readonly {
  key: 'blueMinusRed' | 'blueMinusGreen' | 'redMinusGreen';
  words: string;
}[] = [
  { key: 'blueMinusRed', words: 'blue − red' },
  { key: 'blueMinusGreen', words: 'blue − green' },
  { key: 'redMinusGreen', words: 'red − green' },
];

const SOURCE_WORDS = {
  option: 'as you gave it',
  header: 'from the header',
  pixels: 'found from the pixels',
} as const;

/** `700 × 700 px, mosaic RGGB (found from the pixels)`. */
export function layoutWords(result: FrameResult): string {
  const size =
    result.width === null || result.height === null
      ? ''
      : `${result.width} × ${result.height} px, `;
  switch (result.layout) {
    case 'mono':
      return `${size}mono`;
    case 'rgb':
      return `${size}three colour planes`;
    case 'cfa': {
      const source = result.cfaSource === undefined ? '' : ` (${SOURCE_WORDS[result.cfaSource]})`;
      return `${size}colour mosaic ${result.cfaPattern ?? 'of unknown order'}${source}`;
    }
    default:
      return `${size}layout unknown`;
  }
}

/** `1.52″ per px`, or why arcseconds are missing. */
export function scaleWords(scaleArcsecPerPx: number | null): string {
  return scaleArcsecPerPx === null
    ? 'scale unknown (give --focal-length and --pixel-size for arcseconds)'
    : `${significant(scaleArcsecPerPx, 4)}″ per px`;
}

/** Noun phrase for each rejection reason, in the plural; an unknown reason is shown as it is. */
const REASON_WORDS: Readonly<Record<string, string>> = {
  saturated: 'saturated',
  blended: 'blended with a neighbour',
  edge: 'at an edge',
  'hot pixel': 'hot pixels',
  'cosmic ray': 'cosmic rays',
  extended: 'wider than a star',
  trail: 'on a trail or bad column',
  'poor fit': 'not star-shaped',
  faint: 'too faint',
  'outside zone': 'outside the zone',
  'over limit': 'beyond --max-stars',
};

/** `12 saturated, 3 at an edge`, most frequent first; empty when nothing was left out. */
export function rejectionWords(rejected: Readonly<Record<string, number>>): string {
  return Object.entries(rejected)
    .filter(([, n]) => n > 0)
    .sort((a, b) => b[1] - a[1] || (a[0] < b[0] ? -1 : 1))
    .map(([reason, n]) => `${count(n)} ${REASON_WORDS[reason] ?? reason}`)
    .join(', ');
}

/** `f/1800` for a share of the focal length. */
export function focalShareWords(share: number): string {
  return share > 0 && Number.isFinite(share) ? `f/${significant(1 / share, 2)}` : 'f/–';
}

/** The sign of a tint in words, relative to the whole star's colour. */
export function tintWords(tint: { low: number; high: number }): string {
  if (tint.low > 0) return 'yellower than the star';
  return tint.high < 0 ? 'bluer than the star' : 'no tint shown';
}
