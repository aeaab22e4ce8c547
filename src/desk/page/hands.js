// What to do with the hands: mending first, then what the residuals hint at, each with its caution.

import { byId, caution, command, el, fill } from './dom.js';
import { onState, state } from './store.js';

const list = (lines) => el('ul', {}, lines.map((line) => el('li', {}, line)));

function remedy({ title, text, caution: danger }) {
  return el('article', { class: 'remedy' }, el('h3', {}, title), el('p', {}, text), caution(danger));
}

function finding(found, wasOpen) {
  const part = (title, lines) => (lines.length ? [el('h4', {}, title), list(lines)] : []);
  const rows = found.rows.length
    ? el('p', { class: 'row-list' }, 'Peaks: ', found.rows.map((row) => el('button', { type: 'button', class: 'row-button', 'data-row': row }, `row ${row}`)))
    : null;
  return el('details', { class: 'finding', 'data-fault': found.fault, open: wasOpen },
    el('summary', {}, found.headline || found.title),
    part('How to make sure', found.confirm),
    found.otherwise ? el('p', {}, found.otherwise) : null,
    part('How to mend it', found.mend),
    part('Why this is suspected', found.evidence),
    part('What else it could be', found.rivals ?? []),
    rows);
}

export function startHands() {
  onState(() => {
    const box = byId('hands-list');
    const open = new Set([...box.querySelectorAll('details[open]')].map((d) => d.dataset.fault));
    const focused = document.activeElement?.closest?.('details')?.dataset.fault;
    const unsettled = state.not_separable.map((n) => el('article', { class: 'remedy' },
      el('h3', {}, `Not told apart: ${n.terms}`), el('p', {}, n.meaning), el('p', {}, n.remedy)));
    const steps = state.next_steps.map((s) => el('article', { class: 'remedy' }, el('p', {}, s.words), s.command ? command(s.command) : null));
    const some = state.remedies.length || state.findings.length || unsettled.length || steps.length;
    fill(box,
      some ? null : el('p', {}, 'Nothing: no error of the mount is worth a spanner.'),
      state.remedies.length ? caution(state.mount_caution) : null,
      el('div', { class: 'remedies' }, state.remedies.map(remedy), unsettled, steps),
      state.findings.length ? el('h3', {}, 'Likely faults') : null,
      state.findings.map((f) => finding(f, open.has(f.fault))));
    if (focused && !document.activeElement?.closest?.('details')) {
      box.querySelector(`details[data-fault="${CSS.escape(focused)}"] summary`)?.focus({ preventScroll: true });
    }
  });
}
