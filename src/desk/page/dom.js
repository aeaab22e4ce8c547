// Building and renewing parts of the page. Data reach it as text only.

/** An element with attributes, `on…` listeners and children; strings become text. */
export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith('on')) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? '' : value);
  }
  node.append(...children.flat().filter((c) => c !== null && c !== undefined && c !== ''));
  return node;
}

export const byId = (id) => document.getElementById(id);

/** Changes text only where it differs, so that a screen reader stays where it is. */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export function fill(node, ...children) {
  node.replaceChildren(...children.flat().filter((c) => c !== null && c !== undefined && c !== ''));
}

/**
 * Brings the children of `parent` into line with `items`: kept by key, made where new, renewed by
 * `update`, moved only where the order changed. Whatever had the focus keeps it.
 */
export function keyed(parent, items, key, make, update) {
  const focused = document.activeElement;
  const old = new Map([...parent.children].map((node) => [node.dataset.key, node]));
  let at = parent.firstElementChild;
  for (const item of items) {
    const name = String(key(item));
    let node = old.get(name);
    if (node) old.delete(name);
    else {
      node = make(item);
      node.dataset.key = name;
    }
    update(node, item);
    if (node === at) at = at.nextElementSibling;
    else parent.insertBefore(node, at);
  }
  for (const node of old.values()) node.remove();
  if (focused && focused !== document.activeElement && focused.isConnected) {
    focused.focus({ preventScroll: true });
  }
}

/** What a press on a group's button does now: buttons outlive what they were made with. */
const choosers = new WeakMap();

/** Buttons of which one is pressed; `choices` are [value, words, disabled]. */
export function choiceButtons(group, choices, chosen, choose) {
  choosers.set(group, choose);
  keyed(group, choices, ([value]) => value, ([value]) => el('button', {
    type: 'button', onclick: () => choosers.get(group)(value),
  }), (node, [value, words, disabled]) => {
    say(node, words);
    node.setAttribute('aria-pressed', String(value === chosen));
    node.disabled = Boolean(disabled);
  });
}

/** Sets the options of a select without losing what is chosen. */
export function options(select, wanted) {
  const chosen = select.value;
  keyed(select, wanted, ([value]) => `o${value}`, ([value]) => el('option', { value }),
    (node, [, words]) => say(node, words));
  if (wanted.some(([value]) => value === chosen)) select.value = chosen;
}

/** A caution beside what it belongs to; nothing where there is none. */
export function caution(text) {
  return text ? el('p', { class: 'caution' }, el('strong', {}, 'Caution: '), text) : null;
}

/** A command with a button that copies it. */
export function command(text) {
  const done = el('span', { role: 'status', class: 'soft' });
  const code = el('code', {}, text);
  const copy = async () => {
    try {
      await navigator.clipboard.writeText(text);
      say(done, 'copied');
    } catch {
      // Browsers give no clipboard to a page that came over plain HTTP from another machine.
      getSelection().selectAllChildren(code);
      say(done, 'marked: copy it with your keyboard or menu');
    }
  };
  return el('div', { class: 'command' }, code,
    el('button', { type: 'button', onclick: copy, 'aria-label': `Copy: ${text}` }, 'Copy'), done);
}
