// The verdict, what the edits changed, and the list of edits.

import { byId, command, el, fill, keyed, say } from './dom.js';
import { attempt, speak } from './notice.js';
import { edit, onState, state } from './store.js';

const TRUSTED = {
  good: 'The mount can be corrected.',
  limited: 'The mount can be corrected, with limits.',
  none: 'This result cannot be relied on.',
};

let spokenVersion = null;

/** One figure of the strip. */
function figure(name, value, soft) {
  return el('p', { class: 'figure' }, el('span', { class: 'label' }, name), el('span', { class: 'value' }, value),
    soft ? el('span', { class: 'label' }, soft) : null);
}

function renderStrip() {
  const { expected, expected_before: before, problem } = state;
  const strip = byId('strip-numbers');
  if (problem || !expected) {
    fill(strip, figure('expected error', problem ? 'not solved' : 'not known',
      problem ? problem.problem : 'over the sky'));
  } else {
    fill(strip,
      figure('expected error', `${expected.rms_shown}°`, `95 % within ${expected.rms_95_shown}°`),
      figure('signal lost', loss(expected), before ? `before ${before.rms_shown}°, ${loss(before)}` : null));
  }
  for (const [id, can, words] of [['undo', state.can_undo, state.undo_words], ['redo', state.can_redo, state.redo_words]]) {
    byId(id).disabled = !can;
    say(byId(`${id}-words`), can ? words ?? '' : '');
  }
}

const loss = (e) => e.loss_shown;

function renderVerdict() {
  const { problem, trust, reasons, headline } = state;
  say(byId('headline'), problem ? 'The log cannot be solved as it now is.' : headline ?? TRUSTED[trust]);
  byId('headline').classList.toggle('bad', Boolean(problem) || trust === 'none');
  fill(byId('trust'),
    problem ? el('div', { class: 'caution' }, el('p', {}, problem.problem), problem.help ? el('p', {}, problem.help) : null) : null,
    problem || trust === 'good' || !reasons.length ? null
      : el('div', {}, el('h3', {}, trust === 'none' ? 'Why not' : 'The limits'), el('ul', {}, reasons.map((r) => el('li', {}, r)))));
  fill(byId('verdict'), problem ? [] : state.verdict.flatMap(({ about, said }) => [el('dt', {}, about), el('dd', {}, said)]));
}

function renderCompare() {
  const { expected, expected_before: before } = state;
  const edited = Boolean(before);
  const row = (name, one, two) => el('tr', {}, el('th', { scope: 'row' }, name),
    edited ? el('td', { class: 'n' }, one) : null, el('td', { class: 'n' }, two));
  const deg = (text) => (text ? `${text} deg` : 'not known');
  fill(byId('compare'),
    el('caption', { class: 'unseen' }, 'What the edits changed'),
    el('thead', {}, el('tr', {}, el('td', {}),
      edited ? el('th', { scope: 'col', class: 'n' }, 'before') : null, el('th', { scope: 'col', class: 'n' }, 'now'))),
    el('tbody', {},
      row('expected error, rms', deg(before?.rms_shown), deg(expected?.rms_shown)),
      row('95 % within', deg(before?.rms_95_shown), deg(expected?.rms_95_shown)),
      row('signal lost', before ? loss(before) : 'not known', expected ? loss(expected) : 'not known')));
}

function renderEdits() {
  byId('no-edits').hidden = state.edits.length > 0;
  byId('reset').hidden = !state.can_undo;
  keyed(byId('edits'), state.edits, (e) => e.n, () => el('li', {}, el('span'), el('span', { class: 'soft' })), (node, e) => {
    say(node.firstElementChild, e.words);
    say(node.lastElementChild, e.undone ? ' (taken back)' : '');
    node.classList.toggle('undone', e.undone);
  });
}

/** After a refit a screen reader hears what changed. */
function announce() {
  if (spokenVersion !== null && spokenVersion !== state.version) {
    const now = state.problem ? `Not solved: ${state.problem.problem}`
      : state.expected ? `Expected error ${state.expected.rms_shown} degrees, ${loss(state.expected)} lost` : 'Expected error not known';
    const last = state.edits.filter((e) => !e.undone).at(-1);
    speak(`${last ? `${last.words}. ` : 'No edits. '}${now}.`);
  }
  spokenVersion = state.version;
}

export const undo = () => state?.can_undo && attempt(() => edit({ kind: 'undo' }));
export const redo = () => state?.can_redo && attempt(() => edit({ kind: 'redo' }));

export function startResult() {
  byId('undo').addEventListener('click', undo);
  byId('redo').addEventListener('click', redo);
  byId('reset').addEventListener('click', () => attempt(() => edit({ kind: 'reset' })));
  onState(() => {
    say(byId('title'), state.title);
    say(byId('place'), [state.place, state.dish, state.log].filter(Boolean).join(' · '));
    // A long log: what is shown is of the edit before.
    document.body.classList.toggle('solving', Boolean(state.solving));
    document.title = `${state.title}: plumbeam desk`;
    renderStrip();
    renderVerdict();
    renderCompare();
    renderEdits();
    renderLog();
    announce();
  });
}

/** What was read and taken for granted, at the foot of the page. */
function renderLog() {
  const list = (title, lines) => (lines.length
    ? el('div', {}, el('h3', {}, title), el('ul', {}, lines.map((line) => el('li', {}, line)))) : null);
  fill(byId('log-list'), list('Understood', state.understood), list('Warnings', state.warnings),
    list('Assumed', state.assumed));
  fill(byId('commands'), state.commands.map(command));
}
