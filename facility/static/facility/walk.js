// One station of a check: the item that is read now, the keypad, storing each answer at once.
import { csrf, keep, post } from "./outbox.js";

const list = document.querySelector("[data-items]");
const pad = document.getElementById("pad");
// a wet screen taps twice: what comes this soon after an answer is not meant for the next step
const GHOST_MS = 600;
let tookAt = -GHOST_MS;
let stale = false;
const narrow = window.matchMedia("(max-width: 700px)");
document.documentElement.classList.add("scripted");

const items = () => [...list.querySelectorAll(".item")];
const open = () => items().filter((item) => item.classList.contains("todo") || item.classList.contains("on"));
const here = () => list.querySelector(".item.on");
const field = (item) => item && item.querySelector("input[name=value]");
const formOf = (item) => item.querySelector("form[data-answer]");

function activate(item, focus = true) {
  const before = here();
  if (before && before !== item) before.classList.replace("on", "todo");
  if (item) item.classList.replace("todo", "on");
  padFor(item);
  if (!item || !focus) return;
  // not the button In order: a second Enter must not answer a step that nobody looked at
  const target = field(item) || item;
  if (field(item)) field(item).inputMode = window.matchMedia("(pointer: coarse)").matches ? "none" : "decimal";
  if (target) target.focus({ preventScroll: true });
  item.scrollIntoView({ block: "nearest" });
}

function padFor(item) {
  pad.hidden = !item;
  document.body.classList.toggle("nopad", !item);
  if (!item) return;
  const reading = item.dataset.kind === "reading";
  pad.querySelector("[data-pad-title]").textContent = `${item.dataset.number} · ${item.dataset.text}`;
  pad.querySelector("[data-pad-sub]").textContent = item.querySelector(".sub").textContent.replace(/\s+/g, " ").trim();
  pad.querySelector("[data-pad-digits]").hidden = !reading;
  const words = pad.querySelector("[data-pad-words]");
  words.hidden = reading;
  if (!reading) words.replaceChildren(...wordKeys(item));
  pad.querySelector("[data-not]").textContent = item.querySelector("[value=not_fitted]").textContent;
  const after = open().find((one) => one !== item);
  pad.querySelector("[data-go]").textContent = !narrow.matches && after
    ? pad.dataset.next.replace("{n}", item.dataset.number).replace("{m}", after.dataset.number) : pad.dataset.record;
}

function wordKeys(item) {
  const keys = [...item.querySelectorAll("[data-key], [value=unread], [value=not_fitted]")];
  const made = keys.map((button) => key(button.textContent, () => button.click()));
  made.push(key(pad.querySelector("[data-photo-key]").textContent, () => more(item)));
  return made;
}

function key(text, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "w";
  button.textContent = text;
  button.addEventListener("click", act);
  return button;
}

function more(item) {
  const details = item.querySelector("details.more");
  details.open = true;
  details.querySelector("[name=note]").focus();
}

function type(text) {
  const target = field(here());
  if (!target) return;
  target.value = text === null ? target.value.slice(0, -1) : (target.value + text).slice(0, 24);
}

function fresh(form) {
  form.elements.client_id.value = crypto.randomUUID ? crypto.randomUUID() : uuid();
}

// Without a secure connection the browser has no randomUUID.
function uuid() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

async function store(form, submitter) {
  const item = form.closest(".item");
  const data = new FormData(form, submitter);
  const photo = data.get("photo");
  if (form.dataset.busy || (!field(item) && performance.now() - tookAt < GHOST_MS)) return;
  form.dataset.busy = "1";
  const entry = {};
  for (const [name, value] of data) if (typeof value === "string" && value !== "" && name !== "csrfmiddlewaretoken") entry[name] = value;
  if (entry.outcome || entry.choice) delete entry.value;
  if (form.dataset.sure) entry.sure = true;
  const answer = photo && photo.size ? await postPhoto(form.action, data) : await post(form.action, entry);
  delete form.dataset.busy;
  if (answer === null || answer.signIn) keepHere(item, form, entry, answer);
  else if (answer.stored) took(item, answer);
  else refused(item, form, answer);
}

async function postPhoto(url, data) {
  try {
    const response = await fetch(url, { method: "POST", body: data, redirect: "manual", headers: { Accept: "application/json", "X-CSRFToken": csrf() } });
    if (response.type === "opaqueredirect" || response.status === 403) return { signIn: true };
    return await response.json();
  } catch {
    return null;
  }
}

function keepHere(item, form, entry, answer) {
  const { note, ...reading } = entry;
  const value = Boolean(reading.value || reading.outcome || reading.choice);
  if (value) keep(form.action, reading);
  fresh(form);
  const words = document.getElementById("outbox").dataset;
  const left = note || (form.elements.photo && form.elements.photo.files.length);
  tell(item, [answer && answer.signIn ? words.signIn : "", left ? form.dataset.noteWords : ""].filter(Boolean).join(" "));
  item.classList.add("kept-here");
  if (value) activate(open().find((one) => one !== item && !one.classList.contains("kept-here")));
}

function took(item, answer) {
  tookAt = performance.now();
  if (stale) {
    window.location.reload();
    return;
  }
  const made = new DOMParser().parseFromString(answer.html, "text/html").body.firstElementChild;
  item.replaceWith(made);
  ready(made);
  progress(answer);
  fold();
  const rest = open();
  const after = rest.find((one) => made.compareDocumentPosition(one) & Node.DOCUMENT_POSITION_FOLLOWING) || rest[0];
  activate(after);
  if (!after) document.querySelector("#onward a").focus();
}

function refused(item, form, answer) {
  tell(item, answer.sentence);
  const button = item.querySelector(".record");
  if (answer.ask) {
    form.dataset.sure = "1";
    if (button) button.classList.add("sure");
    pad.querySelector("[data-go]").textContent = form.dataset.sureWords;
    if (button) button.textContent = form.dataset.sureWords;
  }
  const target = field(item);
  if (target) target.focus();
}

function tell(item, text) {
  const line = item.querySelector(".refusal");
  line.textContent = text;
  line.hidden = !text;
}

function progress(answer) {
  const line = document.querySelector("[data-progress]");
  if (line) line.textContent = line.dataset.words.replace("{done}", answer.done).replace("{of}", answer.of);
}

function fold() {
  const done = items().filter((item) => item.classList.contains("past"));
  const line = list.querySelector(".donesum");
  line.hidden = done.length === 0;
  const names = done.map((item) => [item.dataset.number, item.dataset.done].filter(Boolean).join(" "));
  line.querySelector("button").textContent = `${list.dataset.folded}: ${names.join(" · ")} (${list.dataset.unfold})`;
}

function ready(item) {
  item.tabIndex = -1;
  item.addEventListener("focusin", (event) => {
    if (item.classList.contains("todo") && !event.target.closest("details")) activate(item, false);
  });
  item.addEventListener("click", (event) => {
    if (item.classList.contains("todo") && !event.target.closest("button, a, input, select")) activate(item);
  });
  const input = field(item);
  if (input) input.addEventListener("input", () => { delete formOf(item).dataset.sure; });
}

document.addEventListener("submit", (event) => {
  if (!event.target.matches("form[data-answer]")) return;
  event.preventDefault();
  store(event.target, event.submitter && event.submitter.name ? event.submitter : undefined);
});
pad.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  const item = here();
  if (!button || !item) return;
  if (button.dataset.digit) type(button.dataset.digit);
  else if ("rub" in button.dataset) type(null);
  else if ("could" in button.dataset) item.querySelector("[value=unread]").click();
  else if ("not" in button.dataset) item.querySelector("[value=not_fitted]").click();
  else if ("photoKey" in button.dataset) more(item);
  else if ("go" in button.dataset) formOf(item).requestSubmit();
});
document.addEventListener("keydown", (event) => {
  if (event.target.closest("input, textarea, select, button, a, summary") || event.ctrlKey || event.metaKey || event.altKey) return;
  if (/^[0-9.,-]$/.test(event.key)) type(event.key);
  else if (event.key === "Backspace") type(null);
  else if (event.key === "Enter" && here()) formOf(here()).requestSubmit();
});
list.querySelector("[data-fold]").addEventListener("click", () => list.classList.toggle("unfolded"));
document.addEventListener("deepstead:sent", () => {
  // never while somebody is typing: what stands in a field is not stored yet
  const typing = [...list.querySelectorAll("input[name=value], input[name=note]")].some((one) => one.value !== one.defaultValue);
  if (typing) stale = true;
  else window.location.reload();
});

items().forEach(ready);
fold();
activate(here() || open()[0], !document.querySelector("[data-errors]"));
