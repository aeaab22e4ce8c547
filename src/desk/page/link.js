// The stream of events: keeps windows in step, and says when the server is gone.

import { byId, say } from './dom.js';
import { eventsAddress, setToken } from './server.js';
import { isNewer, refresh } from './store.js';
import { fetchNext } from './next.js';
import { onRuns } from './runs.js';
import { onPower, onReading } from './take.js';

/** Between attempts to reach the server again, milliseconds. */
const RETRY = 1500;

let stream = null;
let goneSince = null;

function lost() {
  stream?.close();
  stream = null;
  goneSince ??= new Date();
  const at = goneSince.toLocaleTimeString('en-GB');
  say(byId('link'), `The desk has not answered since ${at}. What you see stands; it goes on trying.`);
  byId('link').classList.add('gone');
  document.body.classList.add('gone');
  setTimeout(connect, RETRY);
}

function found() {
  goneSince = null;
  say(byId('link'), 'In step with the desk');
  byId('link').classList.remove('gone');
  document.body.classList.remove('gone');
}

/** Fetches the state; what is wrong, or null. */
async function fetchState(afresh) {
  try {
    await refresh(afresh);
    return null;
  } catch (problem) {
    return problem;
  }
}

/** A newer state is there: it is asked for until it comes or the stream breaks. */
async function follow() {
  const mine = stream;
  if (await fetchState(false)) setTimeout(() => stream === mine && mine && follow(), RETRY);
}

async function connect() {
  // First the state: an event stream does not tell why it was refused.
  const problem = await fetchState(true);
  if (problem?.status === 401) {
    askToken();
    return;
  }
  if (problem?.status > 0) {
    // It answers, but has nothing to show yet.
    say(byId('link'), problem.message);
    setTimeout(connect, RETRY);
    return;
  }
  if (problem) {
    lost();
    return;
  }
  found();
  stream = new EventSource(eventsAddress());
  stream.addEventListener('error', lost);
  const on = (name, listener) => stream.addEventListener(name, (event) => listener(JSON.parse(event.data)));
  on('changed', ({ version }) => {
    if (isNewer(version)) follow();
  });
  on('next', ({ version }) => fetchNext(version));
  on('runs', onRuns);
  on('power', onPower);
  on('reading', onReading);
}

function askToken() {
  say(byId('link'), 'Waiting for the token');
  if (!byId('ask-token').open) byId('ask-token').showModal();
}

export function startLink() {
  byId('token-form').addEventListener('submit', () => {
    setToken(byId('token').value);
    connect();
  });
  byId('ask-token').addEventListener('cancel', (event) => event.preventDefault());
  connect();
}
