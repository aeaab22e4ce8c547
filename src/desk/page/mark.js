// The marked peak: pointing at it or focusing it anywhere marks it everywhere and shows its card.

import { byId, caution, el, fill } from './dom.js';
import { attempt } from './notice.js';
import { isTicked, onState, state, tick } from './store.js';

/** The row that is marked now; null without. */
export let marked = null;
let pinned = null;

/** Marks a row while it is pointed at. */
export function point(row) {
  show(row ?? pinned);
}

/** Marks a row until another is; again, or null, ends it. */
export function pin(row) {
  pinned = row;
  show(row);
}

/** Marks the next or previous peak of the table as it stands; gives the row. */
export function step(rows, by) {
  if (rows.length === 0) return null;
  const at = rows.indexOf(marked);
  const to = at < 0 ? (by > 0 ? 0 : rows.length - 1) : Math.min(Math.max(at + by, 0), rows.length - 1);
  pin(rows[to]);
  return rows[to];
}

function show(row) {
  if (row === marked) return;
  marked = row;
  renewMarks();
  renewCard();
}

/** Marks again, as after a picture came in. */
export function renewMarks(within = document) {
  for (const node of within.querySelectorAll('.marked')) node.classList.remove('marked');
  if (marked === null) return;
  for (const node of within.querySelectorAll(`[data-row="${marked}"]`)) node.classList.add('marked');
}

/** One line about a peak, as a picture's mark is called. */
export function wordsOf(peak) {
  const off = peak.size_shown ? `, ${peak.size_shown} deg off` : '';
  return `Row ${peak.row}, ${peak.emitter}, ${peak.time_shown}${off}${peak.used ? '' : ', not used'}`;
}

function renewCard() {
  const card = byId('card');
  const peak = state?.peaks.find((p) => p.row === marked);
  card.hidden = !peak;
  document.body.classList.toggle('has-card', Boolean(peak));
  if (!peak) return;
  const ticked = isTicked(peak);
  const fact = (name, value) => (value ? [el('dt', {}, name), el('dd', {}, value)] : []);
  const finding = state.findings.find((f) => f.rows.includes(peak.row));
  const focusInside = card.contains(document.activeElement);
  const use = el('button', {
    type: 'button',
    class: 'use',
    onclick: () => attempt(() => tick(peak.row, !ticked)),
  }, ticked ? 'Leave it out' : 'Use it');
  fill(card,
    el('div', { class: 'row bar' },
      el('h3', {}, `Row ${peak.row}: ${peak.emitter}`),
      use,
      el('button', { type: 'button', onclick: () => pin(null), 'aria-label': 'Close the card of the marked peak' }, 'Close')),
    el('dl', { class: 'facts' },
      fact('time', `${peak.time_shown} UTC`),
      fact('reading', peak.azimuth_shown || peak.elevation_shown
        ? `${state.axes[0]} ${peak.azimuth_shown || 'not measured'}, ${state.axes[1]} ${peak.elevation_shown || 'not measured'}` : ''),
      fact('residual', peak.cross_residual_shown || peak.elevation_residual_shown
        ? `${peak.cross_residual_shown || 'not known'} across, ${peak.elevation_residual_shown || 'not known'} up` : ''),
      fact('used', peak.used ? 'yes' : `no: ${peak.why || 'left out'}`),
      fact('line', peak.added ? 'added here' : `${peak.line} of ${peak.log ?? 'the log'}`),
      fact('note', peak.note),
      fact('finding', finding?.title)),
    caution(state.emitters.find((e) => e.name === peak.emitter)?.caution));
  if (focusInside) use.focus({ preventScroll: true });
}

/** Listens for pointing and focusing on anything that carries a row. */
export function startMarking() {
  const rowOf = (event) => {
    const node = event.target instanceof Element ? event.target.closest('[data-row]') : null;
    return node ? Number(node.dataset.row) : null;
  };
  document.addEventListener('pointerover', (event) => {
    if (event.pointerType === 'touch') return;
    const row = rowOf(event);
    if (row !== null) point(row);
    else if (!byId('card').contains(event.target)) point(null);
  });
  document.addEventListener('focusin', (event) => {
    const row = rowOf(event);
    if (row !== null) pin(row);
  });
  document.addEventListener('click', (event) => {
    const row = rowOf(event);
    if (row !== null) pin(row);
  });
  // On a phone the card stands over the page, so only where there are peaks to be seen.
  const inSight = new Set();
  const watcher = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      if (isIntersecting) inSight.add(target);
      else inSight.delete(target);
    }
    document.body.classList.toggle('peaks-in-sight', inSight.size > 0);
  });
  for (const id of ['hands', 'peaks', 'pictures', 'map-picture']) watcher.observe(byId(id));
  onState(() => {
    if (marked !== null && !state.peaks.some((p) => p.row === marked)) pin(null);
    renewMarks();
    renewCard();
  });
}
