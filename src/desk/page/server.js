// Requests to the desk's server.

/** What the server refused, in its words. */
export class Problem extends Error {
  constructor(problem, help, status) {
    super(problem);
    this.help = help ?? null;
    this.status = status;
  }
}

/** A server that does not answer within this has gone, milliseconds; it takes its time for a long log. */
const PATIENCE = 45000;
const KEPT = 'desk-token';

let token = null;

/** Takes the token out of the address bar, where it would be seen and saved. */
export function takeToken() {
  const address = new URL(location.href);
  const given = address.searchParams.get('token');
  try {
    if (given) sessionStorage.setItem(KEPT, given);
    token = given ?? sessionStorage.getItem(KEPT);
  } catch {
    token = given;
  }
  if (given) {
    address.searchParams.delete('token');
    history.replaceState(null, '', address.pathname + address.search + address.hash);
  }
}

export function setToken(text) {
  token = text.trim();
  try {
    sessionStorage.setItem(KEPT, token);
  } catch {
    // Without storage it is asked for again after a reload.
  }
}

/** The address of the stream of events, which cannot carry a header. */
export function eventsAddress() {
  return token ? `/api/events?token=${encodeURIComponent(token)}` : '/api/events';
}

async function request(path, init, headers) {
  let answer;
  try {
    answer = await fetch(path, {
      cache: 'no-store',
      signal: AbortSignal.timeout(PATIENCE),
      ...init,
      headers: token ? { ...headers, 'X-Desk-Token': token } : headers,
    });
  } catch {
    throw new Problem('The desk does not answer.', 'Nothing was changed; it goes on trying.', 0);
  }
  if (answer.ok) return answer;
  let said = {};
  try {
    said = await answer.json();
  } catch {
    // Not every refusal comes with words.
  }
  throw new Problem(said.problem ?? `The desk refused this (${answer.status}).`, said.help, answer.status);
}

export async function getJson(path) {
  return (await request(path, {}, {})).json();
}

export async function getText(path) {
  return (await request(path, {}, {})).text();
}

export async function post(path, body, type = 'application/json') {
  const raw = type === 'application/json' ? JSON.stringify(body) : body;
  const answer = await request(path, { method: 'POST', body: raw }, { 'Content-Type': type, 'X-Desk': '1' });
  const text = await answer.text();
  return text ? JSON.parse(text) : {};
}
