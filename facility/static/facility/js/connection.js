// Says when the box does not answer, and how many entries of this device it has not got yet.
// Other modules keep unsent entries in localStorage under keys that begin with "deepstead-unsent:"
// and call announce() or dispatch "deepstead:unsent" on document when that changes.
import { words } from "./clock.js";

const PREFIX = "deepstead-unsent:";
const opened = Date.now();

export function unsent() {
  let count = 0;
  try {
    for (let i = 0; i < localStorage.length; i += 1) if (localStorage.key(i).startsWith(PREFIX)) count += 1;
    for (let i = 0; i < sessionStorage.length; i += 1) if (sessionStorage.key(i).startsWith("sent:")) count += 1;
  } catch {
    return 0;
  }
  return count;
}

export function announce() {
  const count = unsent();
  for (const place of document.querySelectorAll("[data-unsent]")) {
    if (place.textContent !== String(count)) place.textContent = String(count);
  }
}

export function offline(state) {
  const line = document.getElementById("offline");
  if (!line || document.body.classList.contains("offline") === state) return;
  document.body.classList.toggle("offline", state);
  const face = document.querySelector("[data-clock]");
  const at = face ? new Date(face.dataset.asOf || face.dataset.clock) : new Date(opened);
  line.querySelector("b").textContent = line.dataset.words.replace("{when}", words(at, face && face.dataset.zone));
  line.hidden = !state;
  document.dispatchEvent(new CustomEvent("deepstead:offline", { detail: { offline: state } }));
}

export async function ask() {
  try {
    await fetch(window.location.href, { method: "HEAD", cache: "no-store", redirect: "manual" });
    offline(false);
    return true;
  } catch {
    offline(true);
    return false;
  }
}

export function connection() {
  announce();
  document.addEventListener("deepstead:unsent", announce);
  window.addEventListener("offline", () => offline(true));
  window.addEventListener("online", ask);
  const button = document.querySelector("[data-ask]");
  if (button) button.addEventListener("click", async () => { if (await ask()) window.location.reload(); });
  if (!navigator.onLine) offline(true);
}
