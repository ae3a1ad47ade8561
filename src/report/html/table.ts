/** Tables that screen readers, phones and paper can cope with. */
import { type Html, html, idOf, type Part } from './markup.js';

export interface TableColumn {
  head: Part;
  /** Numbers stand right (default), words left. */
  align?: 'left' | 'right';
}

export interface TableOptions {
  /** What the table shows; also names the region that scrolls on narrow screens. Unlike any other caption of the page. */
  caption: string;
  columns: readonly TableColumn[];
  /** One list per row; its first cell heads the row. */
  rows: readonly (readonly Part[])[];
  /** Explanation under the table. */
  note?: Part;
  /** Whether readers may sort it by clicking a heading (where scripts run). Default: from four rows on. */
  sortable?: boolean;
}

const SORT_FROM = 4;

/** A table with caption, column and row headings, in a region that scrolls sideways by itself; null without rows. */
export function dataTable(options: TableOptions): Html | null {
  const { caption, columns, rows, note = null, sortable = rows.length >= SORT_FROM } = options;
  if (rows.length === 0) return null;
  const id = `table-${idOf(caption)}`;
  const side = (i: number): string =>
    (columns[i]?.align ?? (i === 0 ? 'left' : 'right')) === 'left' ? 'words' : 'number';
  const heads = columns.map(({ head }, i) => html`<th scope="col" class="${side(i)}">${head}</th>`);
  const lines = rows.map((row) => {
    const cells = row.map((cell, i) =>
      i === 0
        ? html`<th scope="row" class="${side(i)}">${cell}</th>`
        : html`<td class="${side(i)}">${cell}</td>`,
    );
    return html`<tr>${cells}</tr>`;
  });
  const below = note === null ? null : html`<p class="note">${note}</p>`;
  return html`<div class="scroll" role="region" tabindex="0" aria-labelledby="${id}"><table class="${
    sortable ? 'data sortable' : 'data'
  }"><caption id="${id}">${caption}</caption><thead><tr>${heads}</tr></thead><tbody>${lines}</tbody></table></div>${below}`;
}

/** Names with their values, one below the other; pairs with an empty value are left out, null where none is left. */
export function factList(facts: readonly (readonly [name: Part, value: Part])[]): Html | null {
  const shown = facts.filter(([, value]) => value !== null && value !== '');
  if (shown.length === 0) return null;
  return html`<dl class="facts">${shown.map(
    ([name, value]) => html`<div><dt>${name}</dt><dd>${value}</dd></div>`,
  )}</dl>`;
}
