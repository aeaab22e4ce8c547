// Single keys, listed and off at a tick.

import { byId, el, fill } from './dom.js';
import { pin, marked, step } from './mark.js';
import { attempt } from './notice.js';
import { focusRow, rowsShown } from './peaks.js';
import { redo, undo } from './result.js';
import { isTicked, state, tick } from './store.js';

const KEPT = 'desk-single-keys';

const go = (id) => () => {
  const part = byId(id);
  part.scrollIntoView({ block: 'start' });
  (part.querySelector('button, input, select, a') ?? part).focus({ preventScroll: true });
};

const walk = (by) => () => {
  const row = step(rowsShown(), by);
  if (row !== null) focusRow(row);
};

const KEYS = [
  ['u', 'undo', undo],
  ['r', 'redo', redo],
  ['j', 'next peak', walk(1)],
  ['k', 'peak before', walk(-1)],
  ['x', 'leave the marked peak out, or use it again', toggle],
  ['f', 'find a peak', () => byId('peaks-find').focus()],
  ['t', 'take a peak', () => {
    byId('take').scrollIntoView({ block: 'start' });
    byId('take-now').focus({ preventScroll: true });
  }],
  ['e', 'mount errors', go('terms')],
  ['m', 'map', go('map')],
  ['n', 'measure next', go('next')],
  ['?', 'this list', () => byId('keys').showModal()],
];

const ALWAYS = [
  ['Ctrl Z, Ctrl Shift Z', 'undo, redo, outside of fields'],
  ['arrow keys', 'from peak to peak in the table\u2019s ticks and in a picture'],
  ['Space', 'ticks or unticks the peak that has the focus'],
  ['Esc', 'ends a mark; closes what is enlarged'],
];

function toggle() {
  const peak = state?.peaks.find((p) => p.row === marked);
  if (peak) attempt(() => tick(peak.row, !isTicked(peak)));
}

function areOn() {
  try {
    return localStorage.getItem(KEPT) !== 'off';
  } catch {
    return true;
  }
}

function typing(target) {
  return target.closest?.('textarea, select, [contenteditable], input:not([type=checkbox]):not([type=radio])');
}

function pressed(event) {
  if (event.defaultPrevented || document.querySelector('dialog[open]') || typing(event.target)) return;
  if ((event.ctrlKey || event.metaKey) && !event.altKey && event.key.toLowerCase() === 'z') {
    event.preventDefault();
    if (event.shiftKey) redo();
    else undo();
    return;
  }
  if (event.key === 'Escape') pin(null);
  if (event.ctrlKey || event.metaKey || event.altKey || !areOn()) return;
  const found = KEYS.find(([key]) => key === event.key);
  if (!found) return;
  event.preventDefault();
  found[2]();
}

export function startKeys() {
  const entry = ([key, words]) => [el('dt', {}, el('kbd', {}, key)), el('dd', {}, words)];
  fill(byId('keys-list'), KEYS.flatMap(entry), ALWAYS.flatMap(entry));
  byId('keys-on').checked = areOn();
  byId('keys-on').addEventListener('change', (event) => {
    try {
      localStorage.setItem(KEPT, event.target.checked ? 'on' : 'off');
    } catch {
      // Without storage the choice cannot be kept.
    }
  });
  byId('keys-button').addEventListener('click', () => byId('keys').showModal());
  byId('close-keys').addEventListener('click', () => byId('keys').close());
  addEventListener('keydown', pressed);
}
