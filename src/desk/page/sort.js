// Tables that sort by a press on a column's heading.

import { el, say } from './dom.js';

/** Text by its letters and the numbers in it, numbers by size, what is missing last. */
function compare(a, b) {
  const missing = (v) => v === null || v === undefined || v === '';
  if (missing(a) || missing(b)) return Number(missing(a)) - Number(missing(b));
  if (typeof a === 'number' && typeof b === 'number') return a - b;
  return String(a).localeCompare(String(b), 'en-GB', { numeric: true });
}

/** Order of a table by the columns it was given: `{id, words, value, kind}`. */
export class Sorting {
  constructor(columns, changed) {
    this.columns = columns;
    this.by = null;
    this.down = false;
    this.changed = changed;
    this.head = el('thead', {}, el('tr', {}, columns.map((column) => this.heading(column))));
    // Browsers do not repeat the head of a table on the next sheet while it holds buttons.
    addEventListener('beforeprint', () => {
      for (const { cell, button } of columns) cell.replaceChildren(button.firstChild.textContent);
    });
    addEventListener('afterprint', () => {
      for (const { cell, button } of columns) cell.replaceChildren(button);
    });
  }

  heading(column) {
    column.button = el('button', { type: 'button', onclick: () => this.press(column) },
      el('span', {}, column.words), el('span', { class: 'arrow', 'aria-hidden': 'true' }));
    column.cell = el('th', { scope: 'col', class: column.kind ?? null, 'aria-sort': 'none' }, column.button);
    return column.cell;
  }

  press(column) {
    if (this.by === column && this.down) this.by = null;
    else {
      this.down = this.by === column;
      this.by = column;
    }
    for (const c of this.columns) {
      const way = c !== this.by ? 'none' : this.down ? 'descending' : 'ascending';
      c.cell.setAttribute('aria-sort', way);
    }
    this.changed();
  }

  /** Names a column as this mount does. */
  rename(column, words) {
    say(column.button.querySelector('span'), words);
  }

  /** The items in order; as they came where no heading was pressed. */
  order(items) {
    if (!this.by) return items;
    const { value } = this.by;
    const sorted = [...items].sort((a, b) => compare(value(a), value(b)));
    return this.down ? sorted.reverse() : sorted;
  }
}
