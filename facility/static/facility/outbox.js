// Readings that the box has not got yet. Kept in localStorage under keys that begin with
// "deepstead-unsent:", sent on load, when the line is back, and by hand. Only readings are kept:
// no names, no notes, no photos. A repeat is harmless, since each entry has its own id.
const PREFIX = "deepstead-unsent:";
const place = document.getElementById("outbox");
let sending = false;

export function csrf() {
  const found = document.cookie.split("; ").find((one) => one.startsWith("csrftoken="));
  if (found) return decodeURIComponent(found.slice("csrftoken=".length));
  const field = document.querySelector("input[name=csrfmiddlewaretoken]");
  return field ? field.value : "";
}

// Sends one entry. Returns the answer, or null if the box did not take note of it at all.
export async function post(url, body) {
  try {
    const response = await fetch(url, {
      method: "POST", credentials: "same-origin", cache: "no-store", redirect: "manual",
      headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": csrf() },
      body: JSON.stringify(body),
    });
    if (response.type === "opaqueredirect" || response.status === 403) return { signIn: true };
    if (response.status >= 500 || !(response.headers.get("Content-Type") || "").includes("json")) return null;
    return await response.json();
  } catch {
    return null;
  }
}

export function keep(url, entry) {
  localStorage.setItem(PREFIX + entry.client_id, JSON.stringify({ url, entry, at: Date.now() }));
  show();
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
  if (sending) return;
  sending = true;
  let took = 0;
  for (const one of kept().filter((each) => mine(each) && !each.refused)) {
    const ago = Math.max(0, Math.round((Date.now() - one.at) / 1000));
    const answer = await post(one.url, { ...one.entry, seconds_ago: ago });
    if (answer === null) break;
    if (answer.signIn) {
      say(place && place.dataset.signIn);
      break;
    }
    if (answer.stored) {
      localStorage.removeItem(one.key);
      took += 1;
    } else {
      const { key, ...value } = one;
      localStorage.setItem(key, JSON.stringify({ ...value, refused: answer.sentence }));
    }
  }
  sending = false;
  show();
  if (took) document.dispatchEvent(new CustomEvent("deepstead:sent", { detail: { took } }));
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
  const drop = document.createElement("button");
  line.textContent = `${one.entry.step} ${one.entry.value || one.entry.choice || one.entry.outcome} ${one.entry.unit || ""}, ${place.dataset.refused}: ${one.refused} `;
  drop.type = "button";
  drop.className = "act low";
  drop.textContent = place.dataset.drop;
  drop.addEventListener("click", () => {
    localStorage.removeItem(one.key);
    show();
  });
  line.append(drop);
  return line;
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
  for (const one of left) localStorage.removeItem(one.key);
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
