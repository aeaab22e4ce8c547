// What runs on its own, watched, with a big Stop.

import { byId, el, keyed, say } from './dom.js';
import { attempt, speak } from './notice.js';
import { post } from './server.js';
import { onState, state } from './store.js';

function make(run) {
  return el('article', { class: 'run' },
    el('div', { class: 'row bar' }, el('div', {}, el('h3'), el('p', { role: 'status' })),
      el('button', { type: 'button', class: 'stop', onclick: () => stop(run.id) }, 'Stop')),
    el('pre', { tabindex: '0' }));
}

function update(node, run) {
  say(node.querySelector('h3'), run.title);
  say(node.querySelector('p'), run.state);
  node.querySelector('pre').setAttribute('aria-label', `Last lines of ${run.title}`);
  const button = node.querySelector('button');
  button.hidden = !run.can_stop;
  button.setAttribute('aria-label', `Stop ${run.title}`);
  const lines = node.querySelector('pre');
  const atEnd = lines.scrollTop + lines.clientHeight >= lines.scrollHeight - 4;
  say(lines, run.lines.join('\n'));
  if (atEnd) lines.scrollTop = lines.scrollHeight;
}

async function stop(id) {
  await attempt(async () => {
    const { said } = await post('/api/stop', { id });
    speak(said ?? 'Asked to stop.');
  });
}

export function onRuns(runs) {
  byId('runs').hidden = runs.length === 0;
  keyed(byId('runs-list'), runs, (r) => r.id, make, update);
}

export function startRuns() {
  onState(() => onRuns(state.live?.runs ?? []));
}
