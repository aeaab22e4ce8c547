// The session as the server last told it, and the way to change it. Data flow one way: an edit is
// posted, the server tells the new state, the views show it.

import { getJson, post } from './server.js';

/** Waiting is shown only after this, milliseconds: what is quicker needs no sign. */
const SHOW_WAITING = 150;

/** The latest state; null before the first. */
export let state = null;

/** Ticks set here that no state has confirmed yet: row to what was asked. */
export const pendingTicks = new Map();

const listeners = [];
let latest = 0;
let loading = false;
let again = false;
let startAfresh = false;
let posting = Promise.resolve();
let waiting = 0;

export function onState(listener) {
  listeners.push(listener);
}

export function showAgain() {
  if (state) listeners.forEach((listener) => listener(state));
}

/** Counts something that is waited for, and shows it when it takes long. */
export async function waitingFor(promise) {
  waiting += 1;
  const timer = setTimeout(() => document.body.classList.toggle('waiting', waiting > 0), SHOW_WAITING);
  try {
    return await promise;
  } finally {
    clearTimeout(timer);
    waiting -= 1;
    if (waiting === 0) document.body.classList.remove('waiting');
  }
}

/** Whether a version is newer than what is shown. */
export const isNewer = (version) => state === null || version !== state.version;

/**
 * Fetches the state. One request runs at a time, so that an older answer never comes after a newer
 * one. `afresh` after a new connection: a server that was started again may count anew.
 */
export async function refresh(afresh = false) {
  startAfresh ||= afresh;
  if (loading) {
    again = true;
    return;
  }
  loading = true;
  try {
    do {
      again = false;
      const anyVersion = startAfresh;
      startAfresh = false;
      const told = await waitingFor(getJson('/api/state'));
      if (anyVersion || state === null || told.version >= state.version) take(told, anyVersion);
    } while (again);
  } finally {
    loading = false;
  }
}

/** What is written by others, or typed into a command line, stays as it is. */
const VERBATIM = new Set(['emitter', 'name', 'note', 'log', 'file', 'command', 'commands', 'folder_name']);

/** The program's sentences with the sign that print has for plus or minus. */
function typeset(value, key) {
  if (VERBATIM.has(key)) return value;
  if (typeof value === 'string') return value.replaceAll('+/-', '±');
  if (Array.isArray(value)) return value.map((item) => typeset(item, key));
  if (value === null || typeof value !== 'object') return value;
  return Object.fromEntries(Object.entries(value).map(([k, v]) => [k, typeset(v, k)]));
}

function take(told, anyVersion) {
  if (anyVersion) latest = told.version;
  latest = Math.max(latest, told.version);
  for (const [row, tick] of pendingTicks) {
    if (tick.version !== null && tick.version <= told.version) pendingTicks.delete(row);
  }
  state = { ...typeset(told), title: told.title };
  listeners.forEach((listener) => listener(state));
}

/**
 * Posts an edit after those before it, and fetches what came of it. `posted` hears the version that
 * holds it.
 * @throws {Problem} in the server's words; nothing was changed then.
 */
export async function edit(change, posted = () => {}) {
  const mine = posting.then(async () => {
    const { version } = await waitingFor(post('/api/edit', { version: latest, edit: change }));
    latest = Math.max(latest, version);
    posted(version);
  });
  posting = mine.catch(() => {});
  await mine;
  // It is kept; a state that cannot be had now comes when the server answers again.
  await refresh().catch(() => {});
}

/** Ticks or unticks a peak: shown at once, taken back when the server refuses. */
export async function tick(row, use) {
  const mine = { use, version: null };
  pendingTicks.set(row, mine);
  showAgain();
  try {
    await edit({ kind: 'use', row, use }, (version) => { mine.version = version; });
  } catch (problem) {
    if (pendingTicks.get(row) === mine) pendingTicks.delete(row);
    showAgain();
    throw problem;
  }
}

/** Whether a peak is ticked, what was just asked counted in. */
export function isTicked(peak) {
  return pendingTicks.get(peak.row)?.use ?? peak.ticked;
}
