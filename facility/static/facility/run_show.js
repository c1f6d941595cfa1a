// What the screen of a run shows of its state: dials, people, who writes. It goes on by itself without the network.
import { now, span, time } from "./run_clock.js";

const CLOCK = { oxygen: "oxygen", break: "break" };
let reminded = "";

export function fill(text, values) {
  return text.replace(/\{(\w+)\}/g, (_all, name) => values[name] ?? "");
}

function put(root, name, text) {
  const at = root.querySelector(`[data-${name}]`);
  if (at && at.textContent !== text) at.textContent = text;
}

export function dials(root, data) {
  const { state, words, zone } = data;
  const at = now();
  const started = Date.parse(state.started);
  const ended = Date.parse(state.ended);
  const left = state.started ? fill(words.left, { when: time(started, zone) }) : words.not_left;
  put(root, "left", state.ended ? fill(words.over, { when: time(ended, zone) }) : left);
  put(root, "elapsed-clock", state.started ? span((state.ended ? ended : at) - started) : "\u2013");
  const depth = state.ended ? words.last_depth : words.depth;
  put(root, "depth-cap", state.depth_at ? fill(depth, { when: time(Date.parse(state.depth_at), zone).slice(0, 5) }) : words.no_depth);
  put(root, "depth", state.depth || "\u2013");
  put(root, "depth-unit", state.depth ? state.depth_unit : "");
  ahead(root, data, at);
  due(root, data, at);
}

function ahead(root, { state, words, zone, table }, at) {
  const next = state.ahead.find((one) => Date.parse(one.at) > at) || null;
  const none = table.title ? words.none : words.no_table;
  put(root, "next", next ? fill(words.next, { what: next.what }) : none);
  put(root, "next-clock", next ? span(Date.parse(next.at) - at, { hours: false }) : "\u2013");
  put(root, "next-at", next ? fill(words.at, { when: time(Date.parse(next.at), zone) }) : "");
}

function due(root, { state, words }, at) {
  const every = state.reading_every_min * 60000;
  const ring = root.querySelector("[data-ring]");
  if (!state.started || state.ended || !state.reading_at) {
    put(root, "due", "\u2013");
    ring.setAttribute("stroke-dasharray", "0 100");
    return;
  }
  const left = Date.parse(state.reading_at) + every - at;
  put(root, "due-cap", left >= 0 ? words.reading : words.reading_due);
  put(root, "due", span(Math.abs(left), { hours: false }));
  ring.setAttribute("stroke-dasharray", `${Math.max(0, Math.min(100, (100 * left) / every)).toFixed(1)} 100`);
  root.querySelector(".due").classList.toggle("over", left < 0);
  if (left < 0 && reminded !== state.reading_at) {
    reminded = state.reading_at;
    say(root, words.due_said);
    if (navigator.vibrate) navigator.vibrate([200, 100, 200]);
  }
}

export function say(root, text) {
  root.querySelector("#said").textContent = text;
}

function breathing(person, { ended }, words, at) {
  if (ended) return words.surfaced;
  if (!person.inside) return words.out;
  const word = CLOCK[person.breathing];
  return word ? fill(words[word], { span: span(at - Date.parse(person.since), { hours: false }) }) : words.off;
}

// One row a person; the buttons stay the same elements while nothing changed, so that a tap never meets another one.
export function persons(root, data, act) {
  const list = root.querySelector("[data-persons]");
  if (!list) return;
  const { state, words } = data;
  const shape = JSON.stringify([state.people.map((one) => [one.pk, one.inside, one.breathing]), data.writing, state.started !== "", state.ended]);
  if (list.dataset.shape !== shape) {
    list.dataset.shape = shape;
    list.replaceChildren(...state.people.map((person) => row(person, data, act)));
    if (!state.people.length) list.textContent = words.people;
  }
  for (const person of state.people) {
    const at = list.querySelector(`[data-person="${person.pk}"] .breath`);
    const text = breathing(person, state, words, now());
    if (at && at.textContent !== text) at.textContent = text;
  }
}

function row(person, data, act) {
  const { words, state } = data;
  const line = document.createElement("div");
  line.className = "person";
  line.dataset.person = person.pk;
  const name = document.createElement("b");
  name.textContent = person.label;
  const breath = document.createElement("span");
  breath.className = "breath";
  line.append(name, breath);
  if (!data.may || !data.writing || !state.started || state.ended || !person.inside) return line;
  const on = person.breathing === "oxygen";
  const kinds = on ? [["air_break", words.break_button], ["oxygen_off", words.off_button]] : [["oxygen_on", words.on_button]];
  for (const [kind, text] of kinds) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "act";
    button.dataset.kind = kind;
    button.textContent = text;
    button.setAttribute("aria-label", `${person.label}: ${text}`);
    button.addEventListener("click", () => act(kind, person));
    line.append(button);
  }
  return line;
}

export function writes(root, data) {
  const { state, words, zone } = data;
  const since = state.writer_since ? time(Date.parse(state.writer_since), zone).slice(0, 5) : "";
  let text = data.state.ended ? words.nobody_over : words.nobody;
  if (state.writer_device) text = data.writing ? words.mine : fill(words.other, { who: state.writer, when: since });
  if (!data.may) text = state.writer ? fill(words.watch, { who: state.writer }) : "";
  put(root, "writes", text);
  const take = root.querySelector("[data-take]");
  if (take) take.hidden = data.writing;
  const quick = root.querySelector("[data-quick]");
  if (quick) quick.hidden = !data.writing;
}
