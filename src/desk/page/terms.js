// Mount errors: what was found of each, and what is asked of it; and the noise.

import { byId, choiceButtons, el, fill, keyed, say } from './dom.js';
import { attempt } from './notice.js';
import { edit, onState, state } from './store.js';

const ASKED = [['data', 'By the data'], ['add', 'Keep in'], ['leave-out', 'Leave out'], ['hold', 'Hold']];

let body = null;
/** Terms whose value is being typed. */
const open = new Set();

function choose(term, asked) {
  if (asked !== 'hold') {
    open.delete(term.name);
    attempt(() => edit({ kind: 'term', term: term.name, asked }));
    return;
  }
  open.add(term.name);
  render();
  const field = body.querySelector(`tr[data-key="${CSS.escape(term.name)}"] input`);
  if (!field.value) field.value = (term.value_shown ?? '').replace('−', '-');
  field.focus();
  field.select();
}

function hold(term, field) {
  const value = Number(field.value.trim().replace(',', '.').replace('−', '-'));
  const known = field.value.trim() !== '' && Number.isFinite(value);
  field.setCustomValidity(known ? '' : `a number of ${term.unit} is expected, such as 0.1`);
  if (!field.reportValidity()) return;
  open.delete(term.name);
  attempt(() => edit({ kind: 'hold', term: term.name, value }));
}

function make(term) {
  const field = el('input', {
    inputmode: 'text', autocomplete: 'off', size: '8', 'aria-label': `Hold ${term.label} at, ${term.unit}`,
    oninput: () => field.setCustomValidity(''),
  });
  const form = el('form', {
    class: 'row hold',
    onsubmit: (event) => {
      event.preventDefault();
      hold(term, field);
    },
  }, el('span', {}, 'at'), field, el('span', {}, term.unit), el('button', { type: 'submit', class: 'strong' }, 'Hold'));
  return el('tr', {},
    el('th', { scope: 'row' }, el('span', { class: 'name' }), el('span', { class: 'soft meaning' })),
    el('td', { class: 'n', 'data-label': 'Found' }),
    el('td', { 'data-label': 'State' }, el('span', { class: 'state' }), el('span', { class: 'soft why' })),
    el('td', { 'data-label': 'Ask' },
      el('div', { class: 'choice', role: 'group', 'aria-label': `${term.label}: what is asked` }), form));
}

function update(row, term) {
  const [name, value, how, ask] = row.children;
  say(name.firstElementChild, term.label);
  say(name.lastElementChild, term.meaning);
  const sigma = term.sigma_shown ? ` ± ${term.sigma_shown}` : '';
  say(value, term.state === 'left out' ? '–' : `${term.value_shown}${sigma} ${term.unit}`);
  say(how.firstElementChild, term.state);
  say(how.lastElementChild, term.why);
  row.classList.toggle('out', term.state === 'left out' || term.state === 'not separable');
  const typing = open.has(term.name);
  const allowed = ASKED.map(([id, words]) => [id, words, id === 'leave-out' && term.can_leave_out === false]);
  choiceButtons(ask.firstElementChild, allowed, typing ? 'hold' : term.asked, (asked) => choose(term, asked));
  ask.lastElementChild.hidden = !typing && term.asked !== 'hold';
  const field = ask.querySelector('input');
  // What someone types is never written over.
  if (!typing && field !== document.activeElement) field.value = term.hold_value ?? '';
}

function render() {
  if (!state) return;
  keyed(body, state.terms, (t) => t.name, make, update);
  renderNoise();
}

function chooseNoise(choice) {
  if (choice !== 'given') {
    attempt(() => edit({ kind: 'noise', choice }));
    return;
  }
  byId('noise-form').hidden = false;
  byId('noise-given').focus();
}

function renderNoise() {
  const { noise } = state;
  say(byId('noise-words'), noise.words);
  choiceButtons(byId('noise-buttons'), [
    ['logged', 'As logged', !noise.logged_possible],
    ['scatter', 'From the scatter', false],
    ['given', 'Given', false],
  ], noise.choice, chooseNoise);
  const field = byId('noise-given');
  const form = byId('noise-form');
  if (!form.contains(document.activeElement)) {
    form.hidden = noise.choice !== 'given';
    field.value = noise.given_deg ?? '';
  }
}

function giveNoise(event) {
  event.preventDefault();
  const field = byId('noise-given');
  const given = Number(field.value.trim().replace(',', '.'));
  field.setCustomValidity(given > 0 ? '' : 'a number of degrees above zero is expected, such as 0.05');
  if (!field.reportValidity()) return;
  attempt(() => edit({ kind: 'noise', choice: 'given', given_deg: given }));
}

export function startTerms() {
  body = el('tbody');
  byId('terms-table').append(
    el('caption', { class: 'unseen' }, 'Mount errors with their uncertainty, one standard deviation'),
    el('thead', {}, el('tr', {},
      el('th', { scope: 'col' }, 'Mount error'), el('th', { scope: 'col', class: 'n' }, 'Found'),
      el('th', { scope: 'col' }, 'State'), el('th', { scope: 'col' }, 'Ask'))),
    body);
  const field = el('input', {
    id: 'noise-given', inputmode: 'decimal', size: '7', autocomplete: 'off', 'aria-label': 'Noise of a peak, degrees an axis',
    oninput: () => field.setCustomValidity(''),
  });
  fill(byId('noise-choices'),
    el('div', { class: 'choice', id: 'noise-buttons', role: 'group', 'aria-label': 'Noise' }),
    el('form', { class: 'row hold', id: 'noise-form', onsubmit: giveNoise, hidden: true }, field, el('span', {}, 'deg an axis'),
      el('button', { type: 'submit', class: 'strong' }, 'Use this')));
  onState(render);
}
