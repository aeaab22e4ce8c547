// A picture from the server, put into the page as SVG; its peaks can be pointed at and walked over.

import { byId, el, fill, say } from './dom.js';
import { marked, pin, renewMarks, wordsOf } from './mark.js';
import { getText } from './server.js';
import { state, tick, isTicked, waitingFor } from './store.js';
import { attempt } from './notice.js';

const SVG = 'http://www.w3.org/2000/svg';

/** An SVG element from text, with nothing in it that could act. */
function parsed(text) {
  const root = new DOMParser().parseFromString(text, 'image/svg+xml').documentElement;
  if (root.namespaceURI !== SVG || root.localName !== 'svg' || root.querySelector('parsererror, script, foreignObject')) {
    throw new Error('not a picture');
  }
  return document.importNode(root, true);
}

let count = 0;

/** One picture that follows the state: `address(version)` says where it is. */
export class PictureView {
  constructor(box) {
    this.frame = el('div', { class: 'picture-frame' });
    this.heading = el('h3');
    this.enlarge = el('button', { type: 'button', class: 'enlarge', onclick: () => enlarge(this) }, 'Enlarge');
    this.caption = el('figcaption');
    this.scroller = el('div', { class: 'scroller picture', role: 'group' }, this.frame);
    new ResizeObserver(() => this.reachable()).observe(this.scroller);
    this.figure = el('figure', {}, el('div', { class: 'row bar' }, this.heading, this.enlarge), this.scroller, this.caption);
    this.number = count += 1;
    this.asked = 0;
    this.address = null;
    box.append(this.figure);
  }

  name(title, caption) {
    say(this.heading, title);
    say(this.caption, caption);
    this.scroller.setAttribute('aria-label', title);
    this.enlarge.setAttribute('aria-label', `Enlarge: ${title}`);
  }

  /** A box that scrolls can be scrolled by keys. */
  reachable() {
    const scrolls = this.scroller.scrollWidth > this.scroller.clientWidth;
    if (scrolls) this.scroller.setAttribute('tabindex', '0');
    else this.scroller.removeAttribute('tabindex');
  }

  /** Shows a picture, fetched only where its address differs from the one shown. */
  async show(address, title, caption) {
    this.name(title, caption);
    if (address === this.address) return;
    this.address = address;
    const mine = this.asked += 1;
    try {
      const text = await waitingFor(getText(address));
      // A later request has been made: its answer is the one to show.
      if (mine !== this.asked) return;
      this.put(parsed(text), title);
    } catch (problem) {
      if (mine !== this.asked) return;
      this.address = null;
      if (problem.status !== 0) fill(this.frame, el('p', { class: 'soft' }, problem.message));
    }
  }

  put(svg, title) {
    const hadFocus = this.frame.contains(document.activeElement);
    const name = document.createElementNS(SVG, 'title');
    name.id = `picture-${this.number}`;
    name.textContent = title;
    svg.querySelector(':scope > title')?.remove();
    svg.prepend(name);
    svg.setAttribute('aria-labelledby', name.id);
    svg.removeAttribute('width');
    svg.removeAttribute('height');
    walkable(svg);
    fill(this.frame, svg);
    renewMarks(this.frame);
    this.reachable();
    if (hadFocus) svg.querySelector('.mark[tabindex="0"]')?.focus({ preventScroll: true });
  }
}

/** Makes the peaks of a picture one stop of the Tab key, with the arrow keys from one to the next. */
function walkable(svg) {
  const first = new Map();
  for (const node of svg.querySelectorAll('.mark[data-row]')) {
    const row = Number(node.dataset.row);
    if (!first.has(row)) first.set(row, node);
  }
  // Peaks inside make it more than one image.
  svg.setAttribute('role', first.size ? 'group' : 'img');
  if (!first.size) return;
  const rows = [...first.keys()].sort((a, b) => a - b);
  for (const [row, node] of first) {
    const peak = state.peaks.find((p) => p.row === row);
    node.setAttribute('role', 'button');
    node.setAttribute('aria-label', peak ? wordsOf(peak) : `Row ${row}`);
    node.setAttribute('tabindex', row === (first.has(marked) ? marked : rows[0]) ? '0' : '-1');
  }
  const go = (row) => {
    for (const [r, node] of first) node.setAttribute('tabindex', r === row ? '0' : '-1');
    first.get(row).focus({ preventScroll: true });
  };
  svg.addEventListener('keydown', (event) => {
    const row = Number(event.target.closest?.('.mark')?.dataset.row);
    const at = rows.indexOf(row);
    if (at < 0) return;
    const to = {
      ArrowRight: at + 1, ArrowDown: at + 1, ArrowLeft: at - 1, ArrowUp: at - 1, Home: 0, End: rows.length - 1,
    }[event.key];
    if (to !== undefined) {
      event.preventDefault();
      go(rows[Math.min(Math.max(to, 0), rows.length - 1)]);
    } else if (event.key === 'Enter') {
      event.preventDefault();
      pin(row);
    } else if (event.key === ' ') {
      event.preventDefault();
      const peak = state.peaks.find((p) => p.row === row);
      if (peak) attempt(() => tick(row, !isTicked(peak)));
    }
  });
}

let scale = 1;

function setScale(to) {
  scale = Math.min(Math.max(to, 1), 6);
  byId('enlarged-picture').style.setProperty('--scale', String(scale));
  byId('smaller').disabled = scale <= 1;
  byId('larger').disabled = scale >= 6;
}

function enlarge(view) {
  const svg = view.frame.querySelector('svg')?.cloneNode(true);
  if (!svg) return;
  svg.removeAttribute('aria-labelledby');
  svg.setAttribute('aria-label', view.heading.textContent);
  svg.querySelector(':scope > title')?.remove();
  walkable(svg);
  say(byId('enlarged-title'), view.heading.textContent);
  say(byId('enlarged-caption'), view.caption.textContent);
  fill(byId('enlarged-picture'), svg);
  setScale(1);
  byId('enlarged').showModal();
  renewMarks();
}

export function startEnlarging() {
  const dialog = byId('enlarged');
  byId('smaller').addEventListener('click', () => setScale(scale / 1.5));
  byId('larger').addEventListener('click', () => setScale(scale * 1.5));
  byId('close-enlarged').addEventListener('click', () => dialog.close());
  dialog.addEventListener('close', () => fill(byId('enlarged-picture')));
}
