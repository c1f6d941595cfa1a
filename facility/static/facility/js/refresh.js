// A page marked <section data-refresh="60"> asks for itself again and takes over the new content of that section.
// If the box does not answer, the page says so, and no word outlives the instant up to which it held.
import { offline } from "./connection.js";

const began = performance.now();

function serverNow() {
  const face = document.querySelector("[data-clock]");
  return face ? Date.parse(face.dataset.clock) + performance.now() - began : Date.now();
}

// A word from old data never stays: past its end it turns to Not known, the old word struck above it.
export function expire(now = serverNow()) {
  for (const row of document.querySelectorAll("[data-ends]:not([data-ended])")) {
    const end = Date.parse(row.dataset.ends);
    if (Number.isNaN(end) || now < end) continue;
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
  }
}

async function again(section) {
  try {
    const answer = await fetch(window.location.href, { cache: "no-store", headers: { "X-Requested-With": "refresh" } });
    if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector("[data-refresh]");
    if (!fresh) throw new Error("another page");
    const held = document.activeElement && section.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    section.replaceChildren(...fresh.childNodes);
    const face = document.querySelector("[data-clock]");
    const other = page.querySelector("[data-clock]");
    if (face && other) face.dataset.asOf = other.dataset.clock;
    if (held) section.querySelector(`a[href="${CSS.escape(held)}"]`)?.focus();
    offline(false);
  } catch {
    offline(true);
  }
}

export function refresh() {
  const section = document.querySelector("[data-refresh]");
  if (!section) return;
  window.setInterval(() => again(section), Number(section.dataset.refresh) * 1000);
  window.setInterval(() => expire(), 1000);
  expire();
}
