/** Plain text tables and paragraphs that fit the width they are given. */
import Table from 'cli-table3';

/** How emphasis is shown. The command line supplies colours; files and pipes use `PLAIN_STYLE`. */
export interface TextStyle {
  strong(text: string): string;
  faint(text: string): string;
  red(text: string): string;
  green(text: string): string;
  blue(text: string): string;
  warn(text: string): string;
}

const same = (text: string): string => text;
export const PLAIN_STYLE: TextStyle = {
  strong: same,
  faint: same,
  red: same,
  green: same,
  blue: same,
  warn: same,
};

/** One column: its heading (may hold a line break) and one text per row, all of the same count. */
export interface Column {
  head: string;
  cells: readonly string[];
  align?: 'left' | 'right';
}

const GAP = 2;

/** No lines at all: columns are told apart by space. */
const NO_BORDER = {
  top: '',
  'top-mid': '',
  'top-left': '',
  'top-right': '',
  bottom: '',
  'bottom-mid': '',
  'bottom-left': '',
  'bottom-right': '',
  left: '',
  'left-mid': '',
  mid: '',
  'mid-mid': '',
  right: '',
  'right-mid': '',
  middle: ' '.repeat(GAP),
};

// biome-ignore lint/suspicious/noControlCharactersInRegex: our own colour codes start with ESC
const COLOUR_CODE = /\u001b\[[0-9;]*m/g;

/** Characters that `text` takes on screen: code points without our own colour codes (no wide scripts in our words). */
export function visibleWidth(text: string): number {
  return [...text.replace(COLOUR_CODE, '')].length;
}

function columnWidth(column: Column): number {
  let width = 0;
  for (const text of [column.head, ...column.cells]) {
    for (const line of text.split('\n')) width = Math.max(width, visibleWidth(line));
  }
  return width;
}

/** Whether all columns fit side by side into `width` characters. */
export function fits(columns: readonly Column[], width: number): boolean {
  return columns.reduce((sum, column) => sum + GAP + columnWidth(column), -GAP) <= width;
}

function renderOnce(columns: readonly Column[], style: TextStyle): string {
  const table = new Table({
    chars: NO_BORDER,
    style: { head: [], border: [], 'padding-left': 0, 'padding-right': 0 },
    colAligns: columns.map((column) => column.align ?? 'left'),
  });
  const headLines = Math.max(
    ...columns.map((column) => (column.head === '' ? 0 : column.head.split('\n').length)),
  );
  for (let line = 0; line < headLines; line++) {
    table.push(columns.map((column) => style.faint(column.head.split('\n')[line] ?? '')));
  }
  const rows = columns[0]?.cells.length ?? 0;
  for (let row = 0; row < rows; row++) {
    table.push(columns.map((column) => column.cells[row] ?? ''));
  }
  return trimLines(table.toString());
}

/** Drops spaces at the ends of lines, also in front of a closing colour code. */
function trimLines(text: string): string {
  return text
    .split('\n')
    .map((line) => line.replace(/[ ]+$/, ''))
    .join('\n');
}

/** A borderless table no wider than `width`: columns that do not fit follow below, with the first column repeated. */
export function columnsText(columns: readonly Column[], width: number, style: TextStyle): string {
  const [first, ...rest] = columns;
  if (first === undefined) return '';
  const blocks: Column[][] = [];
  let used = 0;
  for (const column of rest) {
    const needed = GAP + columnWidth(column);
    const block = blocks.at(-1);
    if (block !== undefined && used + needed <= width) {
      block.push(column);
      used += needed;
    } else {
      blocks.push([first, column]);
      used = columnWidth(first) + needed;
    }
  }
  if (blocks.length === 0) blocks.push([first]);
  return blocks.map((block) => renderOnce(block, style)).join('\n\n');
}

/** `text` broken at spaces to `width`; lines after the first are indented by `indent` spaces. */
export function wrap(text: string, width: number, indent = 0): string {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    const room = lines.length === 0 ? width : width - indent;
    if (line !== '' && visibleWidth(line) + 1 + visibleWidth(word) > room) {
      lines.push(line);
      line = word;
    } else {
      line = line === '' ? word : `${line} ${word}`;
    }
  }
  lines.push(line);
  return lines.map((each, i) => (i === 0 ? each : ' '.repeat(indent) + each)).join('\n');
}

/** `name   text`, the text wrapped under itself; `nameWidth` lines several facts up. */
export function fact(name: string, text: string, nameWidth: number, width: number): string {
  const indent = ' '.repeat(nameWidth);
  const lines = wrap(text, Math.max(20, width - nameWidth)).split('\n');
  return lines.map((line, i) => (i === 0 ? name.padEnd(nameWidth) : indent) + line).join('\n');
}
