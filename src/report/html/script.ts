/** The only script of a page: tables sort by a click on a heading. Pages read the same without it. */

/** Runs once at the end of the page; its hash stands in the page's security policy. */
export const SORT_SCRIPT = `for (const table of document.querySelectorAll('table.sortable')) {
  const body = table.tBodies[0];
  [...table.tHead.rows[0].cells].forEach((head, column) => {
    const label = [...head.childNodes];
    const button = document.createElement('button');
    button.type = 'button';
    button.append(...label.map((node) => node.nodeName === 'A' ? node.textContent : node));
    head.replaceChildren(button);
    button.addEventListener('click', () => {
      const down = head.getAttribute('aria-sort') === 'ascending';
      for (const other of table.tHead.rows[0].cells) other.removeAttribute('aria-sort');
      head.setAttribute('aria-sort', down ? 'descending' : 'ascending');
      const key = (row) => {
        const text = row.cells[column].textContent.replaceAll('\\u2212', '-').replaceAll('\\u202f', '').trim();
        const number = Number.parseFloat(text);
        return Number.isNaN(number) ? text : number;
      };
      const order = (a, b) => typeof a === 'number' && typeof b === 'number' ? a - b
        : typeof a === 'number' ? -1 : typeof b === 'number' ? 1 : a.localeCompare(b);
      const rows = [...body.rows].sort((a, b) => order(key(a), key(b)));
      body.append(...(down ? rows.reverse() : rows));
    });
  });
}`;
