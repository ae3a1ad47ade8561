import { expect, test } from 'vitest';
import { escapeControls, escapeJsonText } from '../../src/report/escape.js';

// Unicode Standard Annex 9, table 4 and property Bidi_Control: the characters that reorder text (list from memory).
const BIDI = [
  0x061c, 0x200e, 0x200f, 0x202a, 0x202b, 0x202c, 0x202d, 0x202e, 0x2066, 0x2067, 0x2068, 0x2069,
];

test('every C0, DEL, C1 and bidirectional control becomes visible', () => {
  const codes = [
    ...Array.from({ length: 32 }, (_, i) => i),
    ...Array.from({ length: 33 }, (_, i) => 0x7f + i),
    ...BIDI,
  ];
  for (const code of codes) {
    const escaped = escapeControls(`a${String.fromCharCode(code)}b`);
    expect(escaped).toMatch(/^a\\(x[0-9a-f]{2}|u\{[0-9a-f]{4}\})b$/);
    expect(escaped).toContain(code.toString(16));
  }
});

test('a header string that would clear the screen and set the title is shown as text', () => {
  expect(escapeControls('M 13\u001b[2J\u001b]0;owned\u0007')).toBe(
    'M 13\\x1b[2J\\x1b]0;owned\\x07',
  );
});

test('letters, accents, signs and emoji are kept', () => {
  const text = 'Ångström 5 µm ± 3″ − 北極星 🔭';
  expect(escapeControls(text)).toBe(text);
});

test('escaped JSON text carries the same value and no raw control', () => {
  const value = { a: 'x\u009b2Jy\u202ez\u007f', b: 'line\nbreak' };
  const text = escapeJsonText(JSON.stringify(value, null, 2));
  expect(JSON.parse(text)).toEqual(value);
  // biome-ignore lint/suspicious/noControlCharactersInRegex: looking for them is the test
  expect(text).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u202a-\u202e]/);
});
