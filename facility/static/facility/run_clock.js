// The box's time on this device: what it said last, gone on by the device's own clocks.
import { passed } from "./js/clock.js";

let base = Date.now();
let since = 0;

export function set(iso, travelMs = 0) {
  const said = Date.parse(iso);
  if (Number.isNaN(said)) return;
  base = said + travelMs / 2;
  since = passed();
}

export function now() {
  return base + passed() - since;
}

const two = (number) => String(number).padStart(2, "0");

// 1:11:24, or 6:46 where the hours may be left out
export function span(ms, { hours = true } = {}) {
  const total = Math.max(0, Math.floor(ms / 1000));
  const h = Math.floor(total / 3600);
  const rest = `${two(Math.floor((total % 3600) / 60))}:${two(total % 60)}`;
  if (hours || h) return `${h}:${rest}`;
  return `${Math.floor(total / 60)}:${two(total % 60)}`;
}

export function time(ms, zone) {
  return new Intl.DateTimeFormat("en-GB", {
    timeZone: zone || "UTC", hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23",
  }).format(new Date(ms));
}
