/** Terms that readers may not know, each with one short definition. A page lists those that it uses. */
import { type Html, html } from './markup.js';

/** Add a term here, then use `term('its key')` in a page: it is linked, and listed at the end. */
const TERMS = {
  fwhm: ['FWHM', 'Full width at half maximum: the width of a star’s image at half its brightness.'],
  hfd: ['HFD', 'Half-flux diameter: the diameter of the circle that holds half of a star’s light.'],
  r50: ['r50', 'Radius that holds 50 % of a star’s light.'],
  r80: ['r80', 'Radius that holds 80 % of a star’s light.'],
  r90: ['r90', 'Radius that holds 90 % of a star’s light.'],
  ellipticity: [
    'ellipticity',
    'How far from round: (a − b)/(a + b) of the long and the short half axis. 0 is round.',
  ],
  interval: [
    '68 % interval',
    'The true value lies inside in about two of three cases. Written as ±, or as + and − where the sides differ.',
  ],
  halo: [
    'halo',
    'Light of one colour that lies farther from a star’s centre than the light of another colour.',
  ],
  perfectLens: [
    'perfect lens',
    'A lens without any colour error, of the same size and through the same air: what cannot be improved.',
  ],
  encircled: ['encircled light', 'Share of a star’s light within a radius.'],
  profile: ['profile', 'Brightness of the mean star against the distance from its centre.'],
  adu: ['ADU', 'Analogue-to-digital unit: one step of the numbers that the camera records.'],
  arcsec: ['″', 'Second of arc: 1/3600 of a degree on the sky.'],
  saturated: ['saturated', 'So bright that the sensor clips: the centre is lost.'],
  defocus: [
    'defocus',
    'How far behind or before the sensor the light would be sharp, in thousandths of a millimetre (µm).',
  ],
  lateral: [
    'lateral colour',
    'The image in one colour is larger than in another: colours part towards the corners.',
  ],
  linear: [
    'linear',
    'Recorded numbers grow in step with the light. Stretched pictures do not, and cannot be measured.',
  ],
  tint: [
    'tint',
    'Colour of a part of the star, in magnitudes of blue minus red, beside the whole star.',
  ],
  tilt: ['tilt', 'The sensor does not stand square to the light: one side is out of focus.'],
  curvature: [
    'curvature',
    'The sharp surface is a bowl: centre and corners are not sharp together.',
  ],
  effect: ['effect', 'What a cause adds to the size of the worst stars.'],
  confidence: [
    'confidence',
    'From 0 to 1: how far this data supports a cause against the alternatives that are named.',
  ],
  illumination: ['light fall-off', 'How much less light the corners get than the centre.'],
  circle: [
    'sharp circle',
    'The circle round the centre within which stars stay as small and as round as the limits ask.',
  ],
  transparency: [
    'starlight',
    'Light of the same stars beside that in the reference frame: what clouds, haze and dew leave of it.',
  ],
  weight: [
    'weight',
    'What a frame is worth in a stack: squared signal-to-noise of a faint star; the reference frame has 1.',
  ],
  reference: [
    'reference frame',
    'The frame of a group in which faint round stars stand out most; the others are held against it.',
  ],
  px: ['px', 'Pixel: one picture element as recorded.'],
} as const satisfies Record<string, readonly [shown: string, meaning: string]>;

export type TermKey = keyof typeof TERMS;

/** The term, linked to its definition at the end of the page; the definition is also its tooltip. */
export function term(key: TermKey, shown: string = TERMS[key][0]): Html {
  return html`<a class="term" href="#term-${key}" title="${TERMS[key][1]}">${shown}</a>`;
}

/** Definitions of all terms that `markup` links to, in the order of the alphabet; null where there is none. */
export function glossaryOf(markup: string): Html | null {
  const used = (Object.keys(TERMS) as TermKey[])
    .filter((key) => markup.includes(`href="#term-${key}"`))
    .sort((a, b) => TERMS[a][0].localeCompare(TERMS[b][0], 'en'));
  if (used.length === 0) return null;
  const entries = used.map(
    (key) => html`<div id="term-${key}"><dt>${TERMS[key][0]}</dt><dd>${TERMS[key][1]}</dd></div>`,
  );
  return html`<dl class="glossary">${entries}</dl>`;
}
