// A page with data-refresh="60" asks for itself again and takes over the parts marked data-fresh that have changed.
// Each answer says by its own data-refresh after how many seconds to ask next.
// If the box does not answer, the page says so, and no word outlives the instant up to which it held.
import { now } from "./clock.js";
import { offline } from "./connection.js";

// A word from old data never stays: past its end it turns to Not known, the old word struck above it.
export function expire(at = now()) {
  for (const row of document.querySelectorAll("[data-ends]:not([data-ended])")) {
    const end = Date.parse(row.dataset.ends);
    if (Number.isNaN(end) || at < end) continue;
    row.dataset.ended = "yes";
    const word = row.querySelector(".word");
    const mark = row.querySelector("svg.mark use");
    if (!word) continue;
    const old = document.createElement("s");
    old.textContent = word.textContent;
    old.className = "was";
    word.before(old);
    word.textContent = row.dataset.unknownWord;
    word.className = "word is-unknown";
    if (mark) {
      mark.setAttribute("href", mark.getAttribute("href").replace(/#.*/, "#unknown"));
      mark.closest("svg").setAttribute("class", "mark is-unknown");
    }
    for (const head of document.querySelectorAll("h1[data-fresh]")) head.classList.add("stale");
  }
}

// A picture that could not be renewed still shows where now is: 24 hours stand on 66 % of its width.
function moveNow() {
  const face = document.querySelector("[data-clock]");
  const old = face ? (now() - Date.parse(face.dataset.asOf || face.dataset.clock)) / 60000 : 0;
  for (const back of document.querySelectorAll(".field > svg.back")) {
    let line = back.querySelector(".nowline");
    if (old < 2) {
      line?.remove();
      continue;
    }
    if (!line) {
      line = document.createElementNS("http://www.w3.org/2000/svg", "line");
      line.setAttribute("class", "nowline");
      back.append(line);
    }
    const x = `${Math.min(66, (66 * old) / 1440)}%`;
    for (const [name, value] of Object.entries({ x1: x, x2: x, y1: "0", y2: "100%" })) line.setAttribute(name, value);
  }
}

function takeOver(page) {
  for (const part of document.querySelectorAll("[data-fresh]")) {
    const fresh = page.querySelector(`[data-fresh="${part.dataset.fresh}"]`);
    if (!fresh || (fresh.outerHTML === part.outerHTML)) continue;
    const held = part.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    part.replaceChildren(...fresh.childNodes);
    part.classList.remove("stale");
    delete part.dataset.ended;
    if (fresh.dataset.ends) part.dataset.ends = fresh.dataset.ends;
    else delete part.dataset.ends;
    if (held) part.querySelector(`a[href="${CSS.escape(held)}"]`)?.focus();
  }
  const face = document.querySelector("[data-clock]");
  const other = page.querySelector("[data-clock]");
  if (face && other) face.dataset.asOf = other.dataset.clock;
}

async function again(section) {
  try {
    const answer = await fetch(window.location.href, { cache: "no-store" });
    if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector("[data-refresh]");
    if (!fresh) throw new Error("another page");
    section.dataset.refresh = fresh.dataset.refresh;
    takeOver(page);
    offline(false);
  } catch {
    offline(true);
  }
  expire();
}

export function refresh() {
  const section = document.querySelector("[data-refresh]");
  if (!section) return;
  const turn = () => again(section).finally(wait);
  const wait = () => window.setTimeout(turn, Number(section.dataset.refresh) * 1000);
  wait();
  window.setInterval(() => { expire(); moveNow(); }, 1000);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) again(section); });
  window.addEventListener("pageshow", (event) => { if (event.persisted) again(section); });
  expire();
}
