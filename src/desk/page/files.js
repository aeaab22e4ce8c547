// Logs in, files out.

import { byId, el, fill, keyed, say } from './dom.js';
import { attempt, showProblem } from './notice.js';
import { post } from './server.js';
import { edit, onState, state, waitingFor } from './store.js';
import { showAll } from './pictures.js';

async function bringIn(file) {
  const box = byId('import-result');
  fill(box, el('p', {}, `Reading ${file.name}`));
  box.scrollIntoView({ block: 'nearest' });
  try {
    const read = await waitingFor(post(`/api/import?name=${encodeURIComponent(file.name)}`, file, 'application/octet-stream'));
    showRead(file.name, read);
  } catch (problem) {
    const place = el('div', { class: 'problem' });
    fill(box, place);
    showProblem(problem, place);
  }
}

/** What was understood, the choice where it has two meanings, and the button that takes it. */
function showRead(name, read) {
  const box = byId('import-result');
  const refused = el('div', { class: 'problem', hidden: true });
  const { question } = read;
  const answer = async () => {
    const given = new FormData(form);
    const options = question.choices.length > 0 ? question.choices[Number(given.get('choice'))].options
      // What nobody can guess is typed, as on the command line.
      : { ...read.options, [question.option]: given.get('typed') };
    showRead(name, await waitingFor(post('/api/import-answer', { file: read.file, options })));
  };
  const take = async () => {
    await edit(read.edit);
    fill(box, el('p', {}, `${name} is in.`));
  };
  const form = el('form', {
    onsubmit: (event) => {
      event.preventDefault();
      attempt(question ? answer : take, refused);
    },
  },
  el('h4', {}, name),
  question ? null : el('p', {}, read.peaks === 1 ? '1 peak' : `${read.peaks} peaks`),
  el('ul', {}, [...read.understood, ...read.warnings ?? []].map((line) => el('li', {}, line))),
  question ? el('fieldset', { class: 'checks' }, el('legend', {}, question.text),
    question.choices.map((c, i) => el('label', { class: 'check' }, el('input', { type: 'radio', name: 'choice', value: String(i), required: true }), c.label)),
    question.choices.length > 0 ? null : el('label', {}, `${question.option}: `, el('input', { name: 'typed', required: true, autocomplete: 'off', spellcheck: 'false' }))) : null,
  refused,
  el('div', { class: 'row' },
    read.edit || question ? el('button', { type: 'submit', class: 'strong' }, question ? 'So it is' : 'Take these peaks') : null,
    el('button', { type: 'button', onclick: () => fill(box) }, 'Leave it')));
  fill(box, form);
  form.querySelector('input, button').focus();
}

function take(files) {
  if (files.length === 0) return;
  bringIn(files[0]);
  if (files.length > 1) {
    byId('import-result').append(el('p', {}, `Only ${files[0].name} is read: one file at a time.`));
  }
}

function startDropping() {
  const veil = byId('drop');
  const holdsFiles = (event) => event.dataTransfer?.types.includes('Files');
  addEventListener('dragover', (event) => {
    if (!holdsFiles(event)) return;
    event.preventDefault();
    veil.hidden = false;
  });
  addEventListener('dragleave', (event) => {
    if (event.relatedTarget === null) veil.hidden = true;
  });
  addEventListener('drop', (event) => {
    veil.hidden = true;
    if (!holdsFiles(event)) return;
    event.preventDefault();
    take(event.dataTransfer.files);
  });
}

async function write(event) {
  event.preventDefault();
  const box = byId('export-result');
  const ids = [...byId('export-list').querySelectorAll('input:checked')].map((i) => i.value);
  if (ids.length === 0) {
    fill(box, el('p', {}, 'Tick a file first.'));
    return;
  }
  try {
    const { written, said } = await waitingFor(post('/api/export', { ids }));
    fill(box, el('p', {}, `Written: ${written.join(', ')}`), said.length ? el('ul', {}, said.map((line) => el('li', {}, line))) : null);
  } catch (problem) {
    const place = el('div', { class: 'problem' });
    fill(box, place);
    showProblem(problem, place);
  }
}

export function startFiles() {
  byId('import-file').addEventListener('change', (event) => {
    take([...event.target.files]);
    // The same file may be chosen again after it was mended.
    event.target.value = '';
  });
  startDropping();
  byId('export-form').addEventListener('submit', write);
  byId('print').addEventListener('click', async () => {
    await showAll();
    print();
  });
  onState(() => keyed(byId('export-list'), state.exports, (e) => e.id,
    (e) => el('label', { class: 'check' }, el('input', { type: 'checkbox', value: e.id }), el('span')),
    (node, e) => say(node.lastElementChild, e.label)));
}
