// The log of a run: entering, undoing, watching, taking over. Each entry is kept here first and sent at once.
import { csrf, drop, insist, keep, patience, send, waiting } from "./outbox.js";
import * as clock from "./run_clock.js";
import { dials, fill, persons, say, writes } from "./run_show.js";
import { sheet } from "./run_sheet.js";

const UNDO_MS = 10000;
const GHOST_MS = 600; // a wet screen taps twice
const POLL_MS = { writing: 8000, watching: 4000 };
const root = document.getElementById("run");
const data = JSON.parse(root.dataset.run);
const { words, urls } = data;
const undoBar = root.querySelector("[data-undo]");
let lastTap = -GHOST_MS;
let undoable = null;
let undoTimer = 0;

clock.set(data.now);
data.device = deviceName();

function deviceName() {
  let name = localStorage.getItem("deepstead-device");
  if (!name) {
    name = uuid();
    localStorage.setItem("deepstead-device", name);
  }
  return name;
}

// Without a secure connection the browser has no randomUUID.
function uuid() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

function render() {
  const { state } = data;
  data.writing = data.may && (!state.writer_device || state.writer_device === data.device);
  persons(root, data, quickly);
  writes(root, data);
  dials(root, data);
}

// ---- entering -------------------------------------------------------------------------------------------------

function labelOf(entry) {
  const who = data.state.people.find((one) => one.pk === entry.occupant);
  const depth = entry.depth ? ` ${entry.depth} ${entry.depth_unit}` : "";
  return `${who ? `${who.label}: ` : ""}${data.kinds[entry.kind].label}${depth}`;
}

// ``opened``: the box's time at which it happened or was opened. Texts stay out of localStorage.
function enter(entry, opened, texts) {
  const whole = {
    client_id: uuid(), by: data.by, device: data.device, device_at: new Date(opened).toISOString(),
    seconds_ago: Math.max(0, Math.round((clock.now() - opened) / 1000)), ...entry,
  };
  const label = labelOf(entry);
  keep(urls.entry, whole, { label, texts });
  foresee(entry, opened);
  offerUndo({ id: whole.client_id, label, fixed: ["left_surface", "reached_surface"].includes(entry.kind) });
  send();
}

// What the entry means for the screen, before the box has said so.
function foresee(entry, at) {
  const { state } = data;
  const iso = new Date(at).toISOString();
  const person = state.people.find((one) => one.pk === entry.occupant);
  const breath = { oxygen_on: "oxygen", oxygen_off: "off", air_break: "break" }[entry.kind];
  if (person && breath) Object.assign(person, { breathing: breath, since: iso });
  if (person && entry.kind === "lock_in") person.inside = true;
  if (person && entry.kind === "lock_out") person.inside = false;
  if (entry.kind === "left_surface" && !state.started && !entry.clock) Object.assign(state, { started: iso, depth_next: "reached_depth" });
  if (entry.kind === "reached_surface" && !entry.clock) state.ended = iso;
  if (entry.kind === "reading") state.reading_at = iso;
  if (entry.depth) Object.assign(state, { depth: entry.depth.replace(",", "."), depth_unit: entry.depth_unit, depth_at: iso });
  const after = { reached_depth: "left_depth", left_depth: "reached_stop", reached_stop: "left_stop", left_stop: "reached_stop" }[entry.kind];
  if (after) state.depth_next = after;
  for (const [key, value] of Object.entries(entry.values || {})) if (key !== "code") state.last[key] = { value, at: iso };
  render();
}

function quickly(kind, person) {
  if (performance.now() - lastTap < GHOST_MS) return;
  lastTap = performance.now();
  enter({ kind, occupant: person.pk }, clock.now(), null);
}

// ---- undo -----------------------------------------------------------------------------------------------------

function offerUndo(what) {
  undoable = what;
  window.clearTimeout(undoTimer);
  undoBar.hidden = false;
  const button = undoBar.querySelector("[data-undo-do]");
  button.hidden = what.fixed;
  button.textContent = words.undo;
  told(fill(words.kept, { what: what.label }));
  undoTimer = window.setTimeout(() => { undoBar.hidden = true; undoable = null; }, UNDO_MS);
}

function told(text) {
  undoBar.querySelector("[data-undo-words]").textContent = text;
  say(root, text);
}

async function undo() {
  const what = undoable;
  if (!what) return;
  undoable = null;
  undoBar.querySelector("[data-undo-do]").hidden = true;
  if (!what.pk) {
    drop(what.id);
    told(fill(words.dropped, { what: what.label }));
    await look(true);
    return;
  }
  const body = new URLSearchParams({ reason: "slip" });
  try {
    const answer = await fetch(urls.strike.replace("/0/", `/${what.pk}/`), {
      method: "POST", body, redirect: "manual", headers: { Accept: "application/json", "X-CSRFToken": csrf() },
    });
    const said = await answer.json();
    told(said.struck ? fill(words.undone, { what: what.label }) : said.sentence);
  } catch {
    told(fill(words.stored, { n: what.entry, what: what.label }));
  }
  look(true);
}

// ---- what the box answered --------------------------------------------------------------------------------------

document.addEventListener("deepstead:answered", ({ detail: { one, answer } }) => {
  if (one.url !== urls.entry) return;
  if (answer.stored) {
    if (undoable && undoable.id === one.entry.client_id) {
      Object.assign(undoable, { pk: answer.pk, entry: answer.entry });
      told(fill(words.stored, { n: answer.entry, what: answer.what }));
    }
    if (answer.alarm) alarm(answer.alarm);
  } else if (answer.ask) {
    ask(answer.sentence, words.sure, () => insist(one.entry.client_id));
  } else {
    say(root, answer.sentence);
    document.getElementById("outbox").scrollIntoView({ block: "start" });
  }
  look(true);
});
document.addEventListener("deepstead:unsent", unsentLines);

function alarm(text) {
  const place = root.querySelector("#beyond");
  const links = ["defect", "near_miss"].flatMap((name) => {
    const link = document.createElement("a");
    link.href = urls[name];
    link.textContent = words[name];
    return [link, " "];
  });
  place.replaceChildren(`${words.alarm}: ${text} `, ...links);
  place.hidden = false;
  if (navigator.vibrate) navigator.vibrate([400, 150, 400]);
}

function unsentLines() {
  const list = root.querySelector("[data-unsent-lines]");
  const lines = waiting(urls.entry).reverse().map((one) => {
    const line = document.createElement("li");
    line.className = "unsent";
    const at = Date.parse(one.entry.device_at);
    const started = Date.parse(data.state.started);
    const cells = [
      ["el", Number.isNaN(started) ? "\u2013" : clock.span(at - started)], ["ck", clock.time(at, data.zone)],
      ["said-line", one.label], ["by", one.refused ? one.refused : words.not_sent],
    ];
    line.append(...cells.map(([name, text]) => {
      const cell = document.createElement("span");
      cell.className = name;
      cell.textContent = text;
      return cell;
    }));
    return line;
  });
  list.replaceChildren(...lines);
}

// ---- watching and taking over -------------------------------------------------------------------------------------

let looking = false;
async function look(force = false) {
  if (looking && !force) return;
  looking = true;
  const asked = performance.now();
  try {
    const answer = await fetch(urls.since, {
      cache: "no-store", redirect: "manual", signal: patience(POLL_MS.watching * 3),
      headers: { Accept: "application/json", ...(data.tag ? { "If-None-Match": `"${data.tag}"` } : {}) },
    });
    clock.set(answer.headers.get("X-Facility-Time"), performance.now() - asked);
    if (answer.status === 200) take(await answer.json());
    if (answer.ok || answer.status === 304) await send();
  } catch {
    unsentLines();
  }
  looking = false;
  settle();
  render();
}

// What waits here is newer than what the box knows: its state is taken over once nothing waits any more.
function settle() {
  if (!data.latest || waiting(urls.entry).some((one) => !one.refused)) return;
  data.state = data.latest;
  data.latest = null;
}

function take(answer) {
  const before = { ...data.state };
  data.tag = answer.tag;
  data.latest = answer.state;
  const { writer: who, writer_device, writer_since } = answer.state;
  Object.assign(data.state, { writer: who, writer_device, writer_since });
  settle();
  root.querySelector("[data-lines]").innerHTML = answer.html;
  const writer = data.state.writer_device;
  if (before.writer_device && writer !== before.writer_device && writer !== data.device) say(root, fill(words.now_writes, { who: data.state.writer }));
  render();
  unsentLines();
}

async function takeOver() {
  try {
    const answer = await fetch(urls.take, {
      method: "POST", redirect: "manual", headers: { Accept: "application/json", "X-CSRFToken": csrf(), "X-Device": data.device },
    });
    const said = await answer.json();
    if (!said.taken) say(root, said.sentence);
  } catch {
    say(root, words.no_line);
  }
  look(true);
}

function ask(text, yes, act) {
  const dialog = root.querySelector("[data-ask]");
  dialog.querySelector("[data-ask-words]").textContent = text;
  const [no, go] = [dialog.querySelector("[data-ask-no]"), dialog.querySelector("[data-ask-yes]")];
  no.textContent = words.no;
  go.textContent = yes;
  no.onclick = () => dialog.close();
  go.onclick = () => { dialog.close(); act(); };
  if (!dialog.open) dialog.showModal();
}

// ---- the page -----------------------------------------------------------------------------------------------------

const openSheet = sheet(root, data, enter);
root.addEventListener("click", (event) => {
  const button = event.target.closest("[data-group]");
  if (button) openSheet(data.groups.find((one) => one.key === button.dataset.group));
});
undoBar.querySelector("[data-undo-do]").addEventListener("click", undo);
const takeButton = root.querySelector("[data-take]");
if (takeButton) {
  takeButton.textContent = words.take;
  takeButton.addEventListener("click", () => ask(fill(words.take_sure, { who: data.state.writer }), words.yes, takeOver));
}
document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
window.addEventListener("online", () => look(true));

function beat() {
  window.setTimeout(async () => {
    await look();
    beat();
  }, data.writing && !waiting(urls.entry).some((one) => !one.refused) ? POLL_MS.writing : POLL_MS.watching);
}

render();
unsentLines();
window.setInterval(() => { dials(root, data); persons(root, data, quickly); }, 1000);
beat();
look();
