// The table of peaks: untick, sort, filter, mark.

import { byId, el, keyed, say } from './dom.js';
import { attempt } from './notice.js';
import { step } from './mark.js';
import { isTicked, onState, state, tick } from './store.js';
import { Sorting } from './sort.js';

/** What the remark column says of a peak. */
function remark(peak) {
  return [peak.added ? 'added here' : '', peak.used ? '' : peak.why, peak.note].filter(Boolean).join('; ');
}

const COLUMNS = [
  { id: 'use', words: 'Use', value: (p) => Number(!isTicked(p)) },
  { id: 'row', words: 'Row', value: (p) => p.row, kind: 'n' },
  { id: 'emitter', words: 'Emitter', value: (p) => p.emitter },
  { id: 'size', words: 'Off by', value: (p) => sizeOf(p), kind: 'n' },
  { id: 'cross', words: 'Across', value: (p) => p.cross_residual_deg, kind: 'n' },
  { id: 'up', words: 'Up', value: (p) => p.elevation_residual_deg, kind: 'n' },
  { id: 'time', words: 'Time, UTC', value: (p) => p.time_utc },
  { id: 'azimuth', words: 'Reading 1', axis: 0, value: (p) => p.azimuth_deg, kind: 'n' },
  { id: 'elevation', words: 'Reading 2', axis: 1, value: (p) => p.elevation_deg, kind: 'n' },
  { id: 'remark', words: 'Remark', value: remark },
];

/** Length of the residual's measured parts; null where none is known. */
function sizeOf(peak) {
  const parts = [peak.cross_residual_deg, peak.elevation_residual_deg].filter((v) => v !== null);
  return parts.length ? Math.hypot(...parts) : null;
}

let sorting = null;
let body = null;
let largest = 0;

function shown() {
  const find = byId('peaks-find').value.trim().toLowerCase();
  const show = byId('peaks-show').value;
  return state.peaks.filter((p) => {
    const text = `${p.row} ${p.emitter} ${p.time_shown} ${remark(p)}`.toLowerCase();
    const wanted = { all: true, used: p.used, unused: !p.used, edited: p.added || p.edited }[show];
    return wanted && text.includes(find);
  });
}

/** The rows in the order in which the table shows them. */
export function rowsShown() {
  return state ? sorting.order(shown()).map((p) => p.row) : [];
}

function make(peak) {
  const box = el('input', {
    type: 'checkbox',
    'aria-label': `Use row ${peak.row}, ${peak.emitter}`,
    onchange: (event) => {
      const { row } = peak;
      attempt(() => tick(row, event.target.checked));
    },
    onkeydown: (event) => {
      const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (!by) return;
      event.preventDefault();
      focusRow(step(rowsShown(), by));
    },
  });
  const cells = COLUMNS.map((column) => {
    if (column.id === 'use') return el('td', {}, el('label', { class: 'tick' }, box));
    if (column.id === 'row') return el('th', { scope: 'row', class: 'n' });
    if (column.id === 'size') {
      return el('td', { class: 'n' }, el('span', {}), el('span', { class: 'gauge', 'aria-hidden': 'true' }));
    }
    return el('td', { class: column.kind ?? (column.id === 'remark' ? 'free' : null) });
  });
  return el('tr', { 'data-row': peak.row }, cells);
}

function update(row, peak) {
  const cell = (id) => row.children[COLUMNS.findIndex((c) => c.id === id)];
  const box = row.querySelector('input');
  box.checked = isTicked(peak);
  row.classList.toggle('unused', !peak.used || !isTicked(peak));
  row.classList.toggle('added', peak.added);
  say(cell('row'), String(peak.row));
  say(cell('emitter'), peak.emitter);
  say(cell('size').firstElementChild, peak.size_shown ?? '');
  // The bar is a share of the largest residual, for the eye that runs down the column.
  const share = largest > 0 ? (sizeOf(peak) ?? 0) / largest : 0;
  cell('size').lastElementChild.style.setProperty('--share', String(Math.min(share, 1)));
  say(cell('cross'), peak.cross_residual_shown ?? '');
  say(cell('up'), peak.elevation_residual_shown ?? '');
  say(cell('time'), peak.time_shown);
  say(cell('azimuth'), peak.azimuth_shown ?? '');
  say(cell('elevation'), peak.elevation_shown ?? '');
  say(cell('remark'), remark(peak));
}

export function focusRow(row) {
  const box = body?.querySelector(`tr[data-row="${row}"] input`);
  if (!box) return false;
  box.focus();
  box.closest('tr').scrollIntoView({ block: 'nearest' });
  return true;
}

function render() {
  if (!state) return;
  const peaks = sorting.order(shown());
  // A peak that was thrown out would dwarf all others.
  largest = Math.max(0, ...state.peaks.filter((p) => p.used).map((p) => sizeOf(p) ?? 0));
  keyed(body, peaks, (p) => p.row, make, update);
  for (const column of COLUMNS.filter((c) => c.axis !== undefined)) sorting.rename(column, state.axes[column.axis]);
  const used = state.peaks.filter((p) => p.used).length;
  const part = peaks.length === state.peaks.length ? '' : `Showing ${peaks.length}. `;
  say(byId('peaks-count'), `${part}${used} of ${state.peaks.length} peaks are used.`);
}

export function startPeaks() {
  sorting = new Sorting(COLUMNS, render);
  body = el('tbody');
  byId('peaks-table').append(el('caption', { class: 'unseen' }, 'Peaks with their residuals; a heading sorts'), sorting.head, body);
  byId('peaks-filter').addEventListener('submit', (event) => event.preventDefault());
  byId('peaks-find').addEventListener('input', render);
  byId('peaks-show').addEventListener('change', render);
  onState(render);
}
