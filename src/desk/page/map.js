// The map of the expected error, now and before the edits, with a pass drawn through it.

import { byId, choiceButtons, options } from './dom.js';
import { PictureView } from './picture.js';
import { attempt } from './notice.js';
import { getJson } from './server.js';
import { onState, state, waitingFor } from './store.js';

const CAPTION = 'How far the corrected mount is expected to point beside its target. The upper shades of the key want a peak.';

let view = null;
let which = 'now';
let passes = [];
let pass = null;
let asked = 0;

function render() {
  const edited = Boolean(state.expected_before);
  if (!edited) which = 'now';
  choiceButtons(byId('map-which'), [['now', 'Now'], ['before', 'Before the edits', !edited]], which, (to) => {
    which = to;
    render();
  });
  options(byId('map-emitter'), [['', 'no emitter'], ...state.emitters.map((e) => [e.name, e.name])]);
  choiceButtons(byId('map-passes'), passes.map((p) => [String(p.index), passWords(p)]), String(pass), (index) => {
    pass = Number(index);
    render();
  });
  const known = which === 'now' ? state.expected : state.expected_before;
  byId('map-picture').hidden = !known;
  if (!known) return;
  const query = new URLSearchParams({ which });
  if (pass !== null) {
    query.set('pass', String(pass));
    query.set('emitter', byId('map-emitter').value);
  }
  query.set('v', String(state.version));
  view.show(`/api/map.svg?${query}`, which === 'now' ? 'Expected error now' : 'Expected error before the edits', CAPTION);
}

/** A pass in a line; the day is said once where it begins and ends on one. */
function passWords(p) {
  const day = p.rises_shown.slice(0, 11);
  const sets = p.sets_shown.startsWith(day) ? p.sets_shown.slice(day.length) : p.sets_shown;
  const loss = p.worst_loss_shown ? `, largest loss ${p.worst_loss_shown}` : '';
  return `${p.rises_shown} to ${sets} UTC, up to ${p.highest_shown} deg${loss}`;
}

async function fetchPasses() {
  const emitter = byId('map-emitter').value;
  const mine = asked += 1;
  if (!emitter) {
    passes = [];
    pass = null;
    render();
    return;
  }
  await attempt(async () => {
    const found = await waitingFor(getJson(`/api/passes?emitter=${encodeURIComponent(emitter)}`));
    if (mine !== asked) return;
    passes = found;
    pass = passes.some((p) => p.index === pass) ? pass : passes[0]?.index ?? null;
    render();
  });
}

export function startMap() {
  view = new PictureView(byId('map-picture'));
  byId('map-emitter').addEventListener('change', () => {
    pass = null;
    fetchPasses();
  });
  onState(() => {
    render();
    // What a pass loses changes with every edit.
    if (byId('map-emitter').value) fetchPasses();
  });
}
