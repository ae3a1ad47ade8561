/** Markdown tables whose columns line up: readable on a terminal, and pasted into docs/ as they are. */

export type Cell = string | number | null;

export interface TextTable {
  title: string;
  columns: string[];
  rows: Cell[][];
  /** Too long for docs/. */
  detail?: boolean;
}

function cellText(cell: Cell): string {
  if (cell === null) return '–';
  return typeof cell === 'number' ? String(cell) : cell;
}

export function tableText({ title, columns, rows }: TextTable): string {
  const texts = [columns, ...rows.map((row) => row.map(cellText))];
  const widths = columns.map((_, c) => Math.max(3, ...texts.map((row) => row[c].length)));
  const line = (row: string[]): string =>
    `| ${row.map((text, c) => (c === 0 ? text.padEnd(widths[c]) : text.padStart(widths[c]))).join(' | ')} |`;
  const rule = `|${widths.map((width, c) => (c === 0 ? '-'.repeat(width + 2) : `${'-'.repeat(width + 1)}:`)).join('|')}|`;
  return [`### ${title}`, '', line(texts[0]), rule, ...texts.slice(1).map(line)].join('\n');
}

/** A number with a fixed count of decimals; a dash where there is none. */
export function fixed(value: number, digits: number): string {
  return Number.isFinite(value) ? value.toFixed(digits) : '–';
}

/** value ± error. */
export function withError(value: number, error: number, digits: number): string {
  return Number.isFinite(value) ? `${value.toFixed(digits)} ± ${fixed(error, digits)}` : '–';
}
