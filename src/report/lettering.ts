/** Letters as strokes, for labels in pictures: the same on every machine, whatever fonts it has (servers have none). */

/**
 * Stroke of each character and its width. Grid: top of capitals 0, top of small letters 3, baseline 8, descenders to 10.5.
 * Drawn for this program.
 */
const BOWL_LEFT = 'M4 5.5A2 2.5 0 0 0 0 5.5A2 2.5 0 0 0 4 5.5';
const BOWL_RIGHT = 'M0 5.5A2 2.5 0 0 1 4 5.5A2 2.5 0 0 1 0 5.5';
const GLYPHS: Readonly<Record<string, readonly [number, string]>> = {
  a: [4, `${BOWL_LEFT}M4 3V8`],
  b: [4, `M0 0V8${BOWL_RIGHT}`],
  c: [3.6, 'M3.6 4A2 2.5 0 1 0 3.6 7'],
  d: [4, `${BOWL_LEFT}M4 0V8`],
  e: [4, 'M0 5.5H4A2 2.5 0 1 0 3.4 7.3'],
  f: [3, 'M3.3 .3C2 -.3 1.2 .6 1.2 2V8M0 3H2.8'],
  g: [4, `${BOWL_LEFT}M4 3V8.5C4 10.6 1 10.9 .4 9.6`],
  h: [4, 'M0 0V8M0 5C.5 3.3 4 2 4 5V8'],
  i: [0, 'M0 3V8M0 .8V1'],
  j: [1, 'M1 3V9C1 10.4 0 10.5 -.5 10.2M1 .8V1'],
  k: [3.8, 'M0 0V8M3.5 3L0 6M1.4 4.9L3.8 8'],
  l: [0, 'M0 0V8'],
  m: [6, 'M0 3V8M0 5C.3 3 3 2 3 5V8M3 5C3.3 3 6 2 6 5V8'],
  n: [4, 'M0 3V8M0 5C.5 3.3 4 2 4 5V8'],
  o: [4, BOWL_LEFT],
  p: [4, `M0 3V10.5${BOWL_RIGHT}`],
  q: [4, `${BOWL_LEFT}M4 3V10.5`],
  r: [2.8, 'M0 3V8M0 5.2C.4 3.6 1.6 2.8 2.8 3.2'],
  s: [3.6, 'M3.4 3.8C2.6 2.6 .3 2.8 .3 4.3C.3 6 3.6 5 3.6 6.7C3.6 8.4 .8 8.4 0 7.2'],
  t: [3, 'M1.2 1V6.8C1.2 8.2 2.4 8.2 3 7.8M0 3H2.8'],
  u: [4, 'M0 3V6C0 9 3.5 8 4 6M4 3V8'],
  v: [4, 'M0 3L2 8L4 3'],
  w: [6, 'M0 3L1.5 8L3 3.5L4.5 8L6 3'],
  x: [4, 'M0 3L4 8M4 3L0 8'],
  y: [4, 'M0 3L2 8M4 3L1.5 9.3C1.2 10.2 .6 10.4 0 10.2'],
  z: [4, 'M0 3H4L0 8H4'],
  D: [4.4, 'M0 0V8H1.4C5.4 8 5.4 0 1.4 0Z'],
  E: [3.6, 'M3.6 0H0V8H3.6M0 4H3'],
  '0': [4, 'M2 0C-.6 0 -.6 8 2 8C4.6 8 4.6 0 2 0'],
  '1': [2.3, 'M.5 1.6L2.3 0V8'],
  '2': [4, 'M.2 2C.4 -.6 3.8 -.6 3.8 2C3.8 4 1.5 5.5 0 8H4'],
  '3': [
    4,
    'M.3 1.3C1 -.5 3.8 -.3 3.8 2C3.8 3.5 2.8 3.9 1.6 3.9C3 3.9 4 4.6 4 6C4 8.5 .8 8.7 0 6.6',
  ],
  '4': [4.2, 'M3 8V0L0 5.6H4.2'],
  '5': [4, 'M3.7 0H.7L.3 3.6C1.2 2.8 4 2.7 4 5.4C4 8.4 1 8.7 0 6.9'],
  '6': [4, 'M3.6 1C2.6 -.8 0 0 0 4.6C0 9.2 4 8.8 4 5.5C4 2.6 .8 2.4 0 4.8'],
  '7': [4, 'M0 0H4L1.4 8'],
  '8': [4, 'M2 3.8C-.2 3.6 0 0 2 0C4 0 4.2 3.6 2 3.8C-.7 4.1 -.5 8 2 8C4.5 8 4.7 4.1 2 3.8'],
  '9': [4, 'M.4 7C1.4 8.8 4 8 4 3.4C4 -1.2 0 -.8 0 2.5C0 5.4 3.2 5.6 4 3.2'],
  '%': [
    5.4,
    'M4.6 0L.8 8M1.2 0A1.2 1.6 0 0 1 1.2 3.2A1.2 1.6 0 0 1 1.2 0M4.2 4.8A1.2 1.6 0 0 1 4.2 8A1.2 1.6 0 0 1 4.2 4.8',
  ],
  '.': [0, 'M0 7.9V8'],
  ',': [0.6, 'M.5 7.6L0 9.4'],
  ':': [0, 'M0 4V4.1M0 7.9V8'],
  '+': [4, 'M2 2.8V6.8M0 4.8H4'],
  '−': [4, 'M0 4.8H4'],
  '/': [3, 'M3 -.5L0 9'],
};

const SPACE = 3;
const LETTER_GAP = 1.8;
/** Height of capitals in grid units. */
const CAPITAL = 8;

/**
 * SVG group that draws `text` with its baseline at (x, y), capitals `height` px high. Characters that have no stroke are
 * left blank.
 */
export function letters(
  text: string,
  x: number,
  y: number,
  height: number,
  colour: string,
): string {
  const scale = height / CAPITAL;
  let at = 0;
  let body = '';
  for (const character of text) {
    const glyph = GLYPHS[character];
    if (glyph === undefined) {
      at += SPACE;
      continue;
    }
    body += `<path transform="translate(${at.toFixed(2)} 0)" d="${glyph[1]}"/>`;
    at += glyph[0] + LETTER_GAP;
  }
  return (
    `<g transform="translate(${x} ${(y - height).toFixed(2)}) scale(${scale.toFixed(4)})" fill="none" ` +
    `stroke="${colour}" stroke-width="0.95" stroke-linecap="round" stroke-linejoin="round">${body}</g>`
  );
}
