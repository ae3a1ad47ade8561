/** The words that reports use for channels, layouts, reasons and levels. Formatting only: nothing is judged here. */
import type { ChannelName, FrameResult } from '../measure/result.js';
import { count, signed, significant, withUncertainty } from './number.js';

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
    case 'set':
      return `${size}three mono frames through filters`;
    default:
      return `${size}layout unknown`;
  }
}

/** `1.52″ per px`; why a scale is unknown is told by a warning. */
export function scaleWords(scaleArcsecPerPx: number | null): string {
  return scaleArcsecPerPx === null
    ? 'scale unknown'
    : `${significant(scaleArcsecPerPx, 4)}″ per px`;
}

/** Words for each rejection reason after a count of one and of more; an unknown reason is shown as it is. */
const REASON_WORDS: Readonly<Record<string, readonly [string, string]>> = {
  saturated: ['saturated', 'saturated'],
  blended: ['blended with a neighbour', 'blended with neighbours'],
  edge: ['at an edge', 'at an edge'],
  'hot pixel': ['hot pixel', 'hot pixels'],
  'cosmic ray': ['cosmic ray', 'cosmic rays'],
  extended: ['wider than a star', 'wider than a star'],
  trail: ['on a trail or bad column', 'on trails or bad columns'],
  'poor fit': ['not star-shaped', 'not star-shaped'],
  faint: ['too faint', 'too faint'],
  'outside zone': ['outside the zone', 'outside the zone'],
  'over limit': ['beyond the number used', 'beyond the number used'],
};

/** `12 saturated, 3 at an edge`, most frequent first; empty when nothing was left out. */
export function rejectionWords(rejected: Readonly<Record<string, number>>): string {
  return Object.entries(rejected)
    .filter(([, n]) => n > 0)
    .sort((a, b) => b[1] - a[1] || (a[0] < b[0] ? -1 : 1))
    .map(([reason, n]) => `${count(n)} ${REASON_WORDS[reason]?.[n === 1 ? 0 : 1] ?? reason}`)
    .join(', ');
}

/** What the linearity verdict means, and what it rests on where it is not simply good. */
export function linearityWords(linearity: NonNullable<FrameResult['linearity']>): string {
  const { verdict, sizeTrendPercentPerDecade: trend, reasons } = linearity;
  const because = reasons.length === 0 ? '' : `: ${reasons.join('; ')}`;
  switch (verdict) {
    case 'linear':
      return trend === null
        ? 'linear'
        : `linear (star size changes by ${signed(withUncertainty(trend, 1))} % per tenfold brightness)`;
    case 'stretched':
      return `stretched, not linear${because}`;
    default:
      return `whether it is linear cannot be told${because}`;
  }
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
