// The picture beside the peaks, and all of them below.

import { byId, keyed, el, options } from './dom.js';
import { PictureView } from './picture.js';
import { onState, state } from './store.js';

const address = (stem) => `/api/picture/${encodeURIComponent(stem)}.svg?v=${state.version}`;

let pane = null;
let watcher = null;
const views = new WeakMap();
const near = new WeakSet();

function showPane() {
  const stem = byId('pane-stem').value;
  const picture = state.pictures.find((p) => p.stem === stem);
  byId('pane').hidden = !picture;
  if (picture) pane.show(address(stem), picture.title, picture.caption);
}

function showIn(node) {
  const picture = state?.pictures.find((p) => p.stem === node.dataset.stem);
  if (picture) return views.get(node).show(address(picture.stem), picture.title, picture.caption);
  return null;
}

/** Fetches the pictures that were not looked at yet, as paper needs them all. */
export function showAll() {
  return Promise.all([...byId('gallery').children].map(showIn));
}

export function startPictures() {
  pane = new PictureView(byId('pane'));
  byId('pane-stem').addEventListener('change', showPane);
  watcher = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      if (isIntersecting) {
        near.add(target);
        showIn(target);
      } else near.delete(target);
    }
  }, { rootMargin: '400px' });
  onState(() => {
    options(byId('pane-stem'), state.pictures.map((p) => [p.stem, p.title]));
    showPane();
    byId('pictures').hidden = state.pictures.length === 0;
    keyed(byId('gallery'), state.pictures, (p) => p.stem, (p) => {
      const node = el('div', { 'data-stem': p.stem });
      views.set(node, new PictureView(node));
      watcher.observe(node);
      return node;
    }, (node, picture) => {
      views.get(node).name(picture.title, picture.caption);
      if (near.has(node)) showIn(node);
    });
  });
}
