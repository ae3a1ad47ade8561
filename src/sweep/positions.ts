/** Focuser positions that the user gives beside the frames: in a list, or in the names of the files. */
import { UsageError } from '../errors.js';

const NUMBER = '([+-]?\\d+(?:\\.\\d+)?)';

/**
 * A reader of positions from file names. `pattern` is text in which `{}` stands for the number: `focus_{}` finds 1200 in
 * `m1_focus_1200.fits`.
 * @throws UsageError when `{}` is missing or stands twice
 */
export function positionPattern(pattern: string): (name: string) => number | null {
  const parts = pattern.split('{}');
  if (parts.length !== 2) {
    throw new UsageError(
      `--position-pattern ${pattern} must hold {} once, where the number stands`,
      'for names like light_focus1200.fits give --position-pattern "focus{}"',
    );
  }
  const [before, after] = parts.map((part) => part.replace(/[\\^$.*+?()[\]{}|]/g, '\\$&'));
  const expression = new RegExp(`${before}${NUMBER}${after}`);
  return (name) => {
    const match = expression.exec(name);
    return match?.[1] === undefined ? null : Number(match[1]);
  };
}

/**
 * Reads a list of `name,position`, one a line; a first line without a number is a heading, `#` begins a comment.
 * @throws UsageError naming the line that cannot be read
 */
export function positionList(text: string, file: string): Map<string, number> {
  const positions = new Map<string, number>();
  text.split(/\r?\n/).forEach((line, index) => {
    const plain = line.replace(/^\uFEFF/, '').trim();
    if (plain === '' || plain.startsWith('#')) return;
    const comma = plain.lastIndexOf(',');
    const name = plain
      .slice(0, comma)
      .trim()
      .replace(/^"(.*)"$/, '$1');
    const value = plain.slice(comma + 1).trim();
    if (comma > 0 && value !== '' && Number.isFinite(Number(value))) {
      positions.set(name, Number(value));
    } else if (positions.size > 0 || index > 0) {
      throw new UsageError(
        `${file}, line ${index + 1}: no name and position`,
        'write one line for each frame: name,position',
      );
    }
  });
  return positions;
}
