// Entries that the box has not got yet: readings of a check, lines of a log. Kept in localStorage under keys that
// begin with "deepstead-unsent:", sent on load, when the line is back, and by hand. Only kinds, values and numbers of
// people in the run are kept there: no names, no notes, no photos. A free text lies in sessionStorage until it is
// sent: it goes with the page, and the entry then says that its text is missing. A repeat is harmless, since each
// entry has its own id.
const PREFIX = "deepstead-unsent:";
const TEXT = "deepstead-text:";
const JUMP_MS = 300000;
const WAIT_MS = 20000;
const place = document.getElementById("outbox");
let sending = false;
let again = false;

export function csrf() {
  const found = document.cookie.split("; ").find((one) => one.startsWith("csrftoken="));
  if (found) return decodeURIComponent(found.slice("csrftoken=".length));
  const field = document.querySelector("input[name=csrfmiddlewaretoken]");
  return field ? field.value : "";
}

// An older browser cannot be told how long to wait: it then waits as long as it likes.
export function patience(ms) {
  return AbortSignal.timeout ? AbortSignal.timeout(ms) : undefined;
}

// Sends one entry. Returns the answer, or null if the box did not take note of it at all.
export async function post(url, body) {
  try {
    const response = await fetch(url, {
      method: "POST", credentials: "same-origin", cache: "no-store", redirect: "manual",
      headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": csrf() },
      body: JSON.stringify(body), signal: patience(WAIT_MS),
    });
    if (response.type === "opaqueredirect" || response.status === 403) return { signIn: true };
    if (response.status >= 500 || !(response.headers.get("Content-Type") || "").includes("json")) return null;
    return await response.json();
  } catch {
    return null;
  }
}

// ``more``: a label for the page, and texts that must not lie in localStorage.
export function keep(url, entry, { label = "", texts = null } = {}) {
  const clock = { at: Date.now(), steady: performance.now(), page: performance.timeOrigin };
  if (texts) sessionStorage.setItem(TEXT + entry.client_id, JSON.stringify(texts));
  localStorage.setItem(PREFIX + entry.client_id, JSON.stringify({ url, entry, ...clock, label, texts: Boolean(texts) }));
  show();
}

export function drop(id) {
  localStorage.removeItem(PREFIX + id);
  sessionStorage.removeItem(TEXT + id);
  show();
}

export function waiting(url) {
  return kept().filter((one) => one.url === url);
}

// How long an entry waited. A device that slept may have stopped its steady clock, so the longer one is right;
// a clock that was set back is told to the box.
function waited(one) {
  const wall = Date.now() - one.at;
  const steady = one.page === performance.timeOrigin ? performance.now() - one.steady : wall;
  const base = Number(one.entry.seconds_ago) || 0;
  const more = wall < 0 || wall < steady - JUMP_MS ? { clock_jumped: true } : {};
  return { ...more, seconds_ago: Math.max(0, Math.round(base + Math.max(wall, steady) / 1000)) };
}

function textsOf(one) {
  if (!one.texts) return {};
  const found = sessionStorage.getItem(TEXT + one.entry.client_id);
  return found ? JSON.parse(found) : { text_missing: true };
}

function kept() {
  const found = [];
  for (let i = 0; i < localStorage.length; i += 1) {
    const key = localStorage.key(i);
    if (!key.startsWith(PREFIX)) continue;
    try {
      const value = JSON.parse(localStorage.getItem(key));
      if (value && value.url && value.entry) found.push({ key, ...value });
    } catch {
      // not ours: another page keeps its own kind of entry under this prefix
    }
  }
  return found.sort((a, b) => a.at - b.at);
}

function mine(one) {
  return !place || !place.dataset.by || String(one.entry.by) === place.dataset.by;
}

export async function send() {
  if (sending) {
    again = true;
    return;
  }
  sending = true;
  let took = 0;
  do {
    again = false;
    took += await sendAll();
  } while (again);
  sending = false;
  show();
  if (took) document.dispatchEvent(new CustomEvent("deepstead:sent", { detail: { took } }));
}

async function sendAll() {
  let took = 0;
  for (const one of kept().filter((each) => mine(each) && !each.refused)) {
    const answer = await post(one.url, { ...one.entry, ...textsOf(one), ...waited(one) });
    if (answer === null) break;
    if (answer.signIn) {
      say(place && place.dataset.signIn);
      break;
    }
    if (answer.stored) {
      drop(one.entry.client_id);
      took += 1;
    } else if (localStorage.getItem(one.key) !== null) {
      const { key, ...value } = one;
      localStorage.setItem(key, JSON.stringify({ ...value, refused: answer.sentence, ask: Boolean(answer.ask) }));
    }
    document.dispatchEvent(new CustomEvent("deepstead:answered", { detail: { one, answer } }));
  }
  return took;
}

// Sends what was asked about once more, with the word that it is right.
export function insist(id) {
  const stored = JSON.parse(localStorage.getItem(PREFIX + id) || "null");
  if (!stored) return;
  const { refused, ask, ...value } = stored;
  localStorage.setItem(PREFIX + id, JSON.stringify({ ...value, entry: { ...value.entry, sure: true } }));
  send();
}

function say(text) {
  const line = place && place.querySelector("[data-outbox-say]");
  if (line) line.textContent = text || "";
}

export function show() {
  document.dispatchEvent(new CustomEvent("deepstead:unsent"));
  if (!place) return;
  const all = kept();
  const waiting = all.filter((one) => mine(one) && !one.refused).length;
  const refused = all.filter((one) => mine(one) && one.refused);
  const foreign = all.filter((one) => !mine(one)).length;
  place.hidden = all.length === 0;
  place.querySelector("b").textContent = [
    waiting ? place.dataset.words.replace("{n}", waiting) : "",
    foreign ? place.dataset.others.replace("{n}", foreign) : "",
  ].filter(Boolean).join("; ");
  place.querySelector("[data-send]").hidden = waiting === 0;
  place.querySelector("[data-outbox-refused]").replaceChildren(...refused.map(refusedLine));
}

function refusedLine(one) {
  const line = document.createElement("li");
  const what = one.label || `${one.entry.step} ${one.entry.value || one.entry.choice || one.entry.outcome} ${one.entry.unit || ""}`;
  line.textContent = `${what}, ${place.dataset.refused}: ${one.refused} `;
  if (one.ask) line.append(lowButton(place.dataset.right, () => insist(one.entry.client_id)), " ");
  line.append(lowButton(place.dataset.drop, () => drop(one.entry.client_id)));
  return line;
}

function lowButton(text, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "act low";
  button.textContent = text;
  button.addEventListener("click", act);
  return button;
}

function forget(event) {
  const left = kept();
  if (left.length && !event.target.dataset.warned) {
    event.preventDefault();
    event.target.dataset.warned = "1";
    say(place && place.dataset.forgetWords.replace("{n}", left.length));
    if (place) place.scrollIntoView({ block: "start" });
    send();
    return;
  }
  for (const one of left) drop(one.entry.client_id);
}

try {
  const lines = document.querySelector(".lines");
  if (place && lines) lines.append(place);
  show();
  window.addEventListener("online", send);
  for (const form of document.querySelectorAll("form[data-forget]")) form.addEventListener("submit", forget);
  if (place) place.querySelector("[data-send]").addEventListener("click", send);
  send();
} catch (problem) {
  console.warn("This browser keeps no readings:", problem);
}
