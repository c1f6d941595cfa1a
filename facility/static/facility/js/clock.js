// Facility time goes on from what the server said, in the facility's zone; the device's own clock only counts the steps.
const STEP_MS = 1000;
const SKEW_MS = 120000;
const steady = performance.now();
const wall = Date.now();

// A device that slept may have stopped one of its two counters: the longer one is right.
export function passed() {
  return Math.max(performance.now() - steady, Date.now() - wall, 0);
}

export function now() {
  const face = document.querySelector("[data-clock]");
  const base = face ? Date.parse(face.dataset.clock) : NaN;
  return Number.isNaN(base) ? Date.now() : base + passed();
}

export function words(instant, zone) {
  const parts = {};
  const format = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone || "UTC", weekday: "short", day: "numeric", month: "short", year: "numeric",
    hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  });
  for (const part of format.formatToParts(instant)) parts[part.type] = part.value;
  return `${parts.weekday} ${parts.day} ${parts.month.slice(0, 3)} ${parts.year} ${parts.hour}:${parts.minute}`;
}

export function span(minutes) {
  if (minutes < 60) return `${minutes} min`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")}`;
}

export function clock() {
  const face = document.querySelector("[data-clock]");
  const elapsed = document.querySelector("[data-elapsed]");
  if (face) warn(Date.parse(face.dataset.clock), face.dataset.zone);
  if (!face && !elapsed) return;
  const from = elapsed ? Number(elapsed.dataset.elapsed) : NaN;
  window.setInterval(() => {
    if (face) show(face, words(new Date(now()), face.dataset.zone));
    if (elapsed && Number.isFinite(from)) show(elapsed, span(Math.floor(from + passed() / 60000)));
  }, STEP_MS);
}

function show(place, text) {
  if (place.textContent !== text) place.textContent = text;
}

function warn(base, zone) {
  const line = document.getElementById("skew");
  const here = Date.now();
  if (!line || Number.isNaN(base) || Math.abs(here - base) < SKEW_MS) return;
  line.querySelector("b").textContent = line.dataset.words
    .replace("{here}", words(new Date(here), zone))
    .replace("{there}", words(new Date(base), zone));
  line.hidden = false;
}
