// A peak taken by one press: the time is stamped and the reading taken; and the coach beside it.

import { byId, el, fill, options, say } from './dom.js';
import { attempt, hideProblem, showProblem, speak } from './notice.js';
import { post } from './server.js';
import { edit, onState, state } from './store.js';

const DRAFT = 'desk-draft';
/** How long the trace of the signal is, readings. */
const TRACE = 240;
/** The advice is spoken no more often than this, milliseconds. */
const SPEAK_EVERY = 5000;
const SVG = 'http://www.w3.org/2000/svg';

const form = () => byId('take-form');
const field = (name) => form().elements[name];

/** Opens the form for an emitter. */
export function takeOf(emitter) {
  field('emitter').value = emitter;
  showCaution();
  peakOn();
  byId('take').scrollIntoView({ block: 'start' });
  byId('take-now').focus({ preventScroll: true });
}

/** An emitter with where it is now. */
function words(e) {
  if (e.problem) return e.name;
  const where = e.azimuth_shown ? `, azimuth ${e.azimuth_shown}, elevation ${e.elevation_shown}` : '';
  if (e.up) return `${e.name}: up${where}${e.sets ? `, sets ${e.sets} UTC` : ''}`;
  return `${e.name}: below the horizon${e.rises ? `, rises ${e.rises} UTC` : ''}`;
}

/** Tells the coach which emitter is peaked: it knows then where to look for it. */
function peakOn() {
  if (!state?.live?.power) return;
  trace.length = 0;
  attempt(() => post('/api/peaking', { emitter: field('emitter').value }), byId('take-problem'));
}

/** The one press: everything that passes is read at this instant. */
async function takeNow() {
  // Should the desk be slow, the instant of the press still counts.
  const pressed = new Date().toISOString();
  hideProblem(byId('take-problem'));
  let reading = null;
  try {
    reading = await post('/api/reading', {});
  } catch (problem) {
    if (problem.status === 0) speak('The desk does not answer: the time is that of this device.');
  }
  field('time_utc').value = reading?.time_utc ?? pressed;
  if (reading?.azimuth_shown) field('azimuth').value = reading.azimuth_shown;
  if (reading?.elevation_shown) field('elevation').value = reading.elevation_shown;
  if (reading?.peak_db_shown) field('peak_db').value = reading.peak_db_shown;
  if (reading?.problem) showProblem(new Error(`${reading.problem}. The time is stamped: type the reading.`), byId('take-problem'));
  saveDraft();
  const empty = ['azimuth', 'elevation'].find((name) => !field(name).value);
  if (empty) field(empty).focus();
  else form().querySelector('[type=submit]').focus();
  speak(`Time stamped${reading?.azimuth_shown ? ', reading taken' : '; type the reading'}.`);
}

async function keep(event) {
  event.preventDefault();
  const values = Object.fromEntries(new FormData(form()));
  const { emitter } = values;
  const kept = await attempt(() => edit({ kind: 'add_peak', ...values }), byId('take-problem'));
  if (!kept) return;
  form().reset();
  field('emitter').value = emitter;
  saveDraft();
  showCaution();
  byId('take-now').focus();
}

/** What is half typed outlives a reload. */
function saveDraft() {
  try {
    sessionStorage.setItem(DRAFT, JSON.stringify(Object.fromEntries(new FormData(form()))));
  } catch {
    // Without storage a reload costs what was typed.
  }
}

function restoreDraft() {
  try {
    const draft = JSON.parse(sessionStorage.getItem(DRAFT) ?? '{}');
    for (const [name, value] of Object.entries(draft)) if (field(name)) field(name).value = value;
  } catch {
    // A draft that cannot be read is none.
  }
}

function showCaution() {
  const text = state?.emitters.find((e) => e.name === field('emitter').value)?.caution;
  const box = byId('take-caution');
  box.hidden = !text;
  if (text) fill(box, el('strong', {}, 'Caution: '), text);
}

const trace = [];
let spokenAt = 0;
let spokenAdvice = '';
let parts = null;

/** The parts of the coach, made once. */
function coach() {
  if (parts) return parts;
  const svg = document.createElementNS(SVG, 'svg');
  svg.setAttribute('viewBox', `0 0 ${TRACE} 40`);
  svg.setAttribute('preserveAspectRatio', 'none');
  svg.setAttribute('class', 'trace');
  svg.setAttribute('aria-hidden', 'true');
  const line = document.createElementNS(SVG, 'polyline');
  svg.append(line);
  parts = {
    line,
    signal: el('p', { class: 'signal' }),
    bar: el('div', { class: 'bar-now' }),
    best: el('p', {}),
    arrow: el('span', { class: 'way', 'aria-hidden': 'true' }, '➜'),
    advice: el('p', { class: 'advice' }),
    reading: el('p', { class: 'soft' }),
  };
  fill(byId('coach'),
    el('div', { class: 'coach-signal' }, parts.signal, el('div', { class: 'bar-ground', 'aria-hidden': 'true' }, parts.bar), svg, parts.best),
    el('div', { class: 'coach-way' }, parts.arrow, parts.advice), parts.reading);
  return parts;
}

export function onPower(power) {
  const p = coach();
  if (power.problem) {
    say(p.signal, power.problem);
    p.arrow.hidden = true;
    say(p.advice, '');
    return;
  }
  if (power.value !== null) trace.push(power.value);
  if (trace.length > TRACE) trace.shift();
  const high = Math.max(power.best ?? -Infinity, ...trace);
  // The weakest still shows a stub of a bar.
  const low = high - 1.1 * (high - Math.min(...trace));
  const share = (v) => (high > low ? (v - low) / (high - low) : 1);
  say(p.signal, `${power.value_shown} ${power.unit}`);
  p.bar.style.setProperty('--share', String(power.value === null ? 0 : share(power.value)));
  p.line.setAttribute('points', trace.map((v, i) => `${i},${38 - 36 * share(v)}`).join(' '));
  const where = power.best_azimuth_shown ? ` at azimuth ${power.best_azimuth_shown}, elevation ${power.best_elevation_shown}` : '';
  say(p.best, power.best === null || power.best === undefined ? '' : `Best so far ${power.best_shown} ${power.unit}${where}`);
  say(p.advice, power.advice ?? '');
  const { right_deg: right, up_deg: up } = power;
  const far = Number.isFinite(right) && Number.isFinite(up) && Math.hypot(right, up) > 0;
  p.arrow.hidden = !far;
  if (far) p.arrow.style.setProperty('--turn', `${Math.atan2(-up, right)}rad`);
  const now = Date.now();
  if (power.advice && power.advice !== spokenAdvice && now - spokenAt > SPEAK_EVERY && byId('take').contains(document.activeElement)) {
    spokenAt = now;
    spokenAdvice = power.advice;
    speak(power.advice);
  }
}

export function onReading(reading) {
  say(coach().reading, reading.problem
    ?? `The mount reads azimuth ${reading.azimuth_shown}, elevation ${reading.elevation_shown}`);
}

export function startTake() {
  byId('take-now').addEventListener('click', takeNow);
  byId('to-take').addEventListener('click', () => setTimeout(() => byId('take-now').focus({ preventScroll: true })));
  form().addEventListener('submit', keep);
  form().addEventListener('input', saveDraft);
  form().addEventListener('reset', () => setTimeout(saveDraft));
  field('emitter').addEventListener('change', () => {
    showCaution();
    peakOn();
  });
  let restored = false;
  onState(() => {
    options(field('emitter'), state.emitters.map((e) => [e.name, words(e)]));
    if (!restored) {
      restored = true;
      const up = state.emitters.find((e) => e.up);
      if (up) field('emitter').value = up.name;
      restoreDraft();
    }
    const live = state.live ?? {};
    byId('coach').hidden = !(live.power || live.rotator);
    if (!byId('coach').hidden) coach();
    byId('coach').classList.toggle('no-power', !live.power);
    say(byId('take-now'), live.rotator ? 'Take the peak now' : 'Stamp the time now');
    showCaution();
    const [first, second] = state.axes;
    for (const [id, axis] of [['azimuth', first], ['elevation', second]]) {
      say(byId(`take-${id}`), `${capital(axis)} reading, deg`);
      say(byId(`take-${id}-approach`), `${capital(axis)} arrived`);
    }
  });
}

const capital = (word) => word.charAt(0).toUpperCase() + word.slice(1);
