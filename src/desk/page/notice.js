// What the page says on its own: refusals, and results for who listens instead of looking.

import { byId, el, fill, say } from './dom.js';

/** Says something to a screen reader without moving it. */
export function speak(text) {
  say(byId('spoken'), text);
}

export function showProblem(problem, at = byId('problem')) {
  fill(at,
    el('div', {}, el('p', {}, problem.message), problem.help ? el('p', { class: 'help' }, problem.help) : null),
    el('button', { type: 'button', onclick: () => hideProblem(at), 'aria-label': 'Close this message' }, 'Close'));
  at.hidden = false;
}

export function hideProblem(at = byId('problem')) {
  at.hidden = true;
  at.replaceChildren();
}

/** Runs what a control asks for; a refusal is shown, a success clears an older one. */
export async function attempt(action, at = byId('problem')) {
  try {
    await action();
    hideProblem(at);
    return true;
  } catch (problem) {
    showProblem(problem, at);
    return false;
  }
}
