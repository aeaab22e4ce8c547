// The peaks that would tell most.

import { byId, caution, el, fill, keyed, say } from './dom.js';
import { takeOf } from './take.js';
import { getJson } from './server.js';
import { onState, state } from './store.js';

let asked = null;
let told = null;

/** Fetches the plan of this version; of an older one nothing is shown any more. */
export async function fetchNext(version) {
  asked = version;
  try {
    const next = await getJson('/api/next');
    if (asked !== version) return;
    if (next.ready || next.problem) told = next;
    render(next);
  } catch {
    // The line about the connection says it; the next state asks again.
  }
}

function render(next) {
  const old = !next.ready && told;
  say(byId('next-words'), next.problem ? [next.problem.problem, next.problem.help].filter(Boolean).join(' ') : (next.ready
    ? (next.steps.length ? '' : 'Nothing within reach would tell more now.')
    : `Working out what to measure next${old ? '; below, what was best before the last edit' : ''}.`));
  fill(byId('next-caution'), caution(next.ready ? next.caution : null));
  const steps = next.ready ? next.steps : told?.steps ?? [];
  byId('next-list').classList.toggle('old', Boolean(old));
  keyed(byId('next-list'), steps, (s) => `${s.emitter} ${s.time_shown}`, (s) => el('li', {},
    el('p', {}, el('strong'), ' ', el('span')), el('p', { class: 'soft' }),
    el('button', { type: 'button', onclick: () => takeOf(s.emitter), 'aria-label': `Take this: ${s.emitter}, ${s.time_shown} UTC` }, 'Take this')), (node, s) => {
    const [line, why] = node.children;
    const read = s.reading_1_shown ? `; the encoders will read ${s.reading_1_shown} and ${s.reading_2_shown}` : '';
    say(line.firstElementChild, s.emitter);
    say(line.lastElementChild, `${s.time_shown} UTC, azimuth ${s.azimuth_shown}, elevation ${s.elevation_shown}${read}`);
    say(why, [s.words, s.gain_shown].filter(Boolean).join('; '));
  });
}

export function startNext() {
  onState(() => {
    if (asked !== state.version) fetchNext(state.version);
  });
}
