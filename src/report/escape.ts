/** Makes text that came from a file, a header or a path safe to print.
 *
 * A header string may carry terminal commands (colour, cursor, window title) or characters that reorder text.
 * They are shown as visible escapes instead of being sent to the terminal.
 */

/**
 * C0 (U+0000–001F), DEL, C1 (U+0080–009F), and the characters that change the direction or the line of text:
 * U+061C, U+200E, U+200F, U+2028–202E, U+2066–2069 (Unicode Standard Annex 9, Bidi_Control), and U+FEFF.
 */
const UNSAFE =
  // biome-ignore lint/suspicious/noControlCharactersInRegex: finding control characters is the purpose
  /[\u0000-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]/g;

/** `text` with every unsafe character replaced by `\xHH` (below U+0100) or `\u{H…}`; all else is kept. */
export function escapeControls(text: string): string {
  return text.replace(UNSAFE, (character) => {
    const code = character.charCodeAt(0);
    return code < 0x100
      ? `\\x${code.toString(16).padStart(2, '0')}`
      : `\\u{${code.toString(16).padStart(4, '0')}}`;
  });
}

/** The same for elements and quoted attributes of HTML and SVG: what markup is made of becomes a character reference. */
export function escapeMarkup(text: string): string {
  return escapeControls(text)
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;')
    .replaceAll("'", '&#39;');
}

/** The same for finished JSON text: what JSON itself leaves raw becomes a `\uXXXX` escape, so the value is unchanged. */
export function escapeJsonText(json: string): string {
  return json.replace(UNSAFE, (character) =>
    character === '\n' ? character : `\\u${character.charCodeAt(0).toString(16).padStart(4, '0')}`,
  );
}
