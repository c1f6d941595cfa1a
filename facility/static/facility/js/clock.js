// Facility time goes on from what the server said, in the facility's zone; the device's own clock only counts the steps.
const STEP_MS = 1000;
const SKEW_MS = 120000;

export function words(instant, zone) {
  const parts = {};
  const format = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone || "UTC", weekday: "short", day: "numeric", month: "short", year: "numeric",
    hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  });
  for (const part of format.formatToParts(instant)) parts[part.type] = part.value;
  const month = parts.month.slice(0, 3);
  return `${parts.weekday} ${parts.day} ${month} ${parts.year} ${parts.hour}:${parts.minute}`;
}

export function span(minutes) {
  if (minutes < 60) return `${minutes} min`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")}`;
}

export function clock() {
  const began = performance.now();
  const face = document.querySelector("[data-clock]");
  const elapsed = document.querySelector("[data-elapsed]");
  const base = face ? Date.parse(face.dataset.clock) : NaN;
  if (face && !Number.isNaN(base)) warn(base, face.dataset.zone);
  if (!face && !elapsed) return;
  const from = elapsed ? Number(elapsed.dataset.elapsed) : 0;
  window.setInterval(() => {
    const passed = performance.now() - began;
    if (face && !Number.isNaN(base)) {
      const text = words(new Date(base + passed), face.dataset.zone);
      if (face.textContent !== text) face.textContent = text;
    }
    if (elapsed && Number.isFinite(from)) {
      const text = span(Math.floor(from + passed / 60000));
      if (elapsed.textContent !== text) elapsed.textContent = text;
    }
  }, STEP_MS);
}

function warn(base, zone) {
  const line = document.getElementById("skew");
  const here = Date.now();
  if (!line || Math.abs(here - base) < SKEW_MS) return;
  line.querySelector("b").textContent = line.dataset.words
    .replace("{here}", words(new Date(here), zone))
    .replace("{there}", words(new Date(base), zone));
  line.hidden = false;
}
