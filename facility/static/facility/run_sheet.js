// The sheet on which one entry is filled in: who, depth, values, time, words. Nothing is filled in by itself; the last
// value stands beside its field, and "same" puts it in. What cannot be is refused here, also without the network.
import { now, time } from "./run_clock.js";
import { fill } from "./run_show.js";

const STEPS = [-5, -1, 1, 5];
const KEYS = ["7", "8", "9", "rub", "4", "5", "6", ".", "1", "2", "3", "0"];
const coarse = window.matchMedia("(pointer: coarse)");

function make(tag, name, text, more = {}) {
  const made = document.createElement(tag);
  if (name) made.className = name;
  if (text) made.textContent = text;
  for (const [key, value] of Object.entries(more)) made.setAttribute(key, value);
  return made;
}

function button(text, act, name = "act low") {
  const made = make("button", name, text, { type: "button" });
  made.addEventListener("click", act);
  return made;
}

function number(text) {
  const trimmed = text.trim().replace("\u2212", "-");
  return /^[+-]?\d+([.,]\d+)?$/.test(trimmed) ? Number(trimmed.replace(",", ".")) : NaN;
}

export function sheet(root, data, enter) {
  const dialog = root.querySelector("[data-sheet]");
  const form = dialog.querySelector("form");
  const fields = dialog.querySelector("[data-fields]");
  const refusal = dialog.querySelector("[data-refusal]");
  const store = dialog.querySelector("[data-store]");
  const pad = dialog.querySelector("[data-keys]");
  const { words } = data;
  let now_at = 0;
  let chosen = { kind: "", occupant: null };
  let inputs = {};
  let asked = "";
  let target = null;

  function choose(label, options, picked, act) {
    const set = make("fieldset", "choose");
    set.append(make("legend", "", label));
    const line = make("div", "choices");
    for (const [key, text] of options) {
      const one = button(text, () => {
        for (const other of line.children) other.setAttribute("aria-pressed", String(other === one));
        act(key);
        fresh();
      }, "act choice");
      one.dataset.choice = key;
      one.setAttribute("aria-pressed", String(key === picked));
      line.append(one);
    }
    set.append(line);
    return set;
  }

  function fresh() {
    asked = "";
    refusal.hidden = true;
    store.textContent = words.store;
  }

  function lastOf(last, unit) {
    if (!last) return "";
    return fill(words.last, { value: `${last.value} ${unit}`, when: time(Date.parse(last.at), data.zone).slice(0, 5) });
  }

  function numeric(key, label, unit, { last = null, steps = false, planned = "" } = {}) {
    const row = make("div", "value");
    const input = make("input", "figure", "", { type: "text", inputmode: coarse.matches ? "none" : "decimal", autocomplete: "off", maxlength: "24", name: key, "aria-label": `${label} ${unit}` });
    input.addEventListener("focus", () => { target = input; });
    input.addEventListener("input", fresh);
    row.append(make("span", "label", label), input, make("span", "unit", unit));
    const side = make("span", "side");
    if (last) side.append(make("span", "note", lastOf(last, unit)), button(words.same, () => { input.value = last.value; fresh(); }));
    if (planned) side.append(button(fill(words.planned, { value: planned }), () => { input.value = planned; fresh(); }));
    if (steps) {
      for (const step of STEPS) {
        side.append(button(step > 0 ? `+${step}` : `\u2212${-step}`, () => {
          const from = Number.isNaN(number(input.value)) ? Number(last ? last.value : 0) : number(input.value);
          input.value = String(Math.max(0, from + step));
          fresh();
        }, "act low step"));
      }
    }
    if (side.childNodes.length) row.append(side);
    inputs[key] = input;
    target ??= input;
    return row;
  }

  function texts(kind, offlineLine) {
    const found = [];
    const remark = make("label", "words", words.remark);
    inputs.remark = make("input", "form-control", "", { type: "text", maxlength: "300", name: "remark", autocomplete: "off" });
    remark.append(inputs.remark);
    found.push(remark);
    if (kind.clinical) {
      const line = make("label", "words", words.clinical);
      inputs.clinical = make("textarea", "form-control", "", { name: "clinical", maxlength: "20000", autocomplete: "off" });
      line.append(inputs.clinical, offlineLine);
      found.push(line);
    }
    if (chosen.kind === "left_surface" || data.state.closed) {
      const line = make("label", "words", data.state.closed ? words.close : words.reason_surface);
      inputs.reason = make("input", "form-control", "", { type: "text", maxlength: "500", name: "reason", autocomplete: "off" });
      line.append(inputs.reason);
      found.push(line);
    }
    return found;
  }

  function when() {
    const row = make("div", "value");
    const input = make("input", "figure", "", { type: "text", name: "clock", maxlength: "40", autocomplete: "off", placeholder: time(now_at, data.zone), "aria-label": `${words.time}, ${words.time_help}` });
    input.addEventListener("input", fresh);
    const back = (minutes) => { input.value = time(now_at - minutes * 60000, data.zone); fresh(); };
    const side = make("span", "side");
    side.append(make("span", "note", words.time_help), button(words.back1, () => back(1)), button(words.back5, () => back(5)));
    row.append(make("span", "label", words.time), input, make("span", "unit", ""), side);
    inputs.clock = input;
    return row;
  }

  // What is asked to be logged stands open; what the tables say is opened by hand.
  function handbook(kind) {
    const box = make("div", "handbook");
    const rest = make("details");
    rest.append(make("summary", "", words.handbook));
    kind.rules.forEach((rule, place) => {
      const line = make("p", "", rule.text);
      line.append(" ", make("span", "note", `${rule.source}${rule.unconfirmed ? `, ${words.unconfirmed}` : ""}`));
      (place ? rest : box).append(line);
    });
    if (kind.rules.length > 1) box.append(rest);
    return box;
  }

  function values(kind) {
    return kind.values.map((value) => {
      if (value.form === "choice") return choose(value.label, value.choices, "", (key) => { inputs[value.key] = { value: key }; });
      const row = numeric(value.key, value.label, value.unit, { last: data.state.last[value.key], steps: value.form === "whole" });
      if (value.key === "extension_count") inputs[value.key].value = "1";
      if (value.key === "extension_depth_fsw" && data.table.extensions.length) {
        const side = make("span", "side");
        for (const depth of data.table.extensions) side.append(button(`${depth} fsw`, () => { inputs[value.key].value = depth; fresh(); }));
        row.append(side);
      }
      return row;
    });
  }

  function plannedDepth() {
    const next = data.state.ahead.find((one) => Date.parse(one.at) > now_at - 900000 && one.depth_fsw > 0);
    return ["reached_depth", "reached_stop"].includes(chosen.kind) && next && data.unit === "fsw" ? String(next.depth_fsw) : "";
  }

  function build(group) {
    const kind = data.kinds[chosen.kind];
    inputs = {};
    target = null;
    fresh();
    dialog.querySelector("#sheet-title").textContent = group.kinds.length > 1 ? group.label : kind.label;
    const parts = [];
    if (group.kinds.length > 1) {
      parts.push(choose(group.label, group.kinds.map((key) => [key, data.kinds[key].label]), chosen.kind, (key) => { chosen = { ...chosen, kind: key }; build(group); }));
    }
    if (kind.rules.length) parts.push(handbook(kind));
    if (kind.occupant !== "no") {
      const people = data.state.people.map((one) => [String(one.pk), one.label]);
      parts.push(choose(words.who, people, chosen.occupant, (key) => { chosen.occupant = key; }));
    }
    if (kind.depth !== "no") {
      const last = data.state.depth ? { value: data.state.depth, at: data.state.depth_at } : null;
      parts.push(numeric("depth", words.depth_field, data.unit, { last, steps: true, planned: plannedDepth() }));
    }
    parts.push(...values(kind), when(), ...texts(kind, make("span", "note", words.clinical_warn)));
    fields.replaceChildren(...parts);
    pad.hidden = !target;
    if (target) target.focus({ preventScroll: true });
  }

  function trouble(kind, entry) {
    const spans = kind.values.filter((one) => one.form !== "choice" && entry.values[one.key] !== undefined)
      .map((one) => [one.label, entry.values[one.key], one.units ? entry.values.bank_unit || "" : one.unit, one.units ? one.units[entry.values.bank_unit] : one.span]);
    if (entry.depth) spans.push([words.depth_field, entry.depth, entry.depth_unit, data.depths[entry.depth_unit]]);
    for (const [label, text, unit, span] of spans) {
      const found = number(text);
      if (Number.isNaN(found)) return [fill(words.not_number, { label, value: text }), false];
      if (!span) continue;
      const [least, most, low, high] = span;
      if (found < least || found > most) return [fill(words.cannot, { label, value: text, unit, least, most }), false];
      if (found < low || found > high) return [fill(words.usual, { label, value: text, unit, low, high }), true];
    }
    return null;
  }

  function missing(kind, entry, some) {
    if (kind.occupant === "needed" && !entry.occupant) return words.who;
    if (kind.depth === "needed" && !entry.depth) return words.depth_field;
    const value = kind.values.find((one) => one.needed && !entry.values[one.key]);
    if (value) return value.label;
    return kind.some && !some ? words.empty : "";
  }

  function doubt(kind, entry) {
    const person = data.state.people.find((one) => one.pk === entry.occupant);
    if (person && chosen.kind === "oxygen_on" && person.breathing === "oxygen") return fill(words.again_on, { who: person.label });
    if (person && ["oxygen_off", "air_break"].includes(chosen.kind) && person.breathing !== "oxygen") return fill(words.again_off, { who: person.label });
    return kind.twice ? fill(words.twice, { what: kind.label }) : "";
  }

  function given() {
    const kind = data.kinds[chosen.kind];
    const entry = { kind: chosen.kind, values: {} };
    if (kind.occupant !== "no" && chosen.occupant) entry.occupant = Number(chosen.occupant);
    for (const value of kind.values) if (inputs[value.key] && inputs[value.key].value.trim()) entry.values[value.key] = inputs[value.key].value.trim();
    if (entry.values.bank_pressure === undefined) delete entry.values.bank_unit;
    if (inputs.depth && inputs.depth.value.trim()) Object.assign(entry, { depth: inputs.depth.value.trim(), depth_unit: data.unit });
    if (inputs.clock.value.trim()) entry.clock = inputs.clock.value.trim();
    const texts = {};
    for (const name of ["remark", "clinical", "reason"]) if (inputs[name] && inputs[name].value.trim()) texts[name] = inputs[name].value.trim();
    return { kind, entry, texts };
  }

  function refuse(text) {
    refusal.textContent = text;
    refusal.hidden = false;
    refusal.scrollIntoView({ block: "nearest" });
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const { kind, entry, texts } = given();
    const lacks = missing(kind, entry, entry.depth || Object.keys(entry.values).length || Object.keys(texts).length);
    if (lacks) return refuse(lacks === words.empty ? lacks : fill(words.missing, { label: lacks }));
    const [said, mayAsk] = trouble(kind, entry) || [doubt(kind, entry), true];
    if (said && !(mayAsk && asked === said)) {
      asked = mayAsk ? said : "";
      store.textContent = mayAsk ? words.sure : words.store;
      return refuse(said);
    }
    if (said) entry.sure = true;
    dialog.close();
    enter(entry, now_at, Object.keys(texts).length ? texts : null);
    return undefined;
  });
  dialog.querySelector("[data-cancel]").addEventListener("click", () => dialog.close());
  for (const key of KEYS) {
    const rub = key === "rub";
    const act = () => {
      if (!target) return;
      target.value = rub ? target.value.slice(0, -1) : target.value + key;
      fresh();
    };
    const one = button(rub ? words.rub : key, act, rub ? "w" : "");
    if (key === ".") one.setAttribute("aria-label", words.point);
    pad.append(one);
  }
  pad.addEventListener("mousedown", (event) => event.preventDefault());

  return (group) => {
    now_at = now();
    const { lost, depth_next: next } = data.state;
    const back = { communication: lost.communication, oxygen_lost: lost.oxygen }[group.key];
    const kind = group.kinds.includes(next) ? next : group.kinds[back ? 1 : 0];
    const patients = data.state.people.filter((one) => one.role === "patient");
    const health = ["symptom", "drug", "toxicity"].includes(group.key);
    chosen = { kind, occupant: health && patients.length === 1 ? String(patients[0].pk) : null };
    build(group);
    dialog.showModal();
  };
}
