// What is typed into a form marked data-keep="name" is kept in this tab until the box has taken it.
// A send that never arrived, a refusal and an expired sign-in leave the draft; a success clears it.
import { announce, offline } from "./connection.js";

const SECRET = new Set(["password", "file", "hidden", "submit", "button"]);
const store = window.sessionStorage;

function keyOf(form) {
  const place = [...document.querySelectorAll("form[data-keep]")].indexOf(form);
  return `${window.location.pathname}|${form.dataset.keep || place}`;
}

function fields(form) {
  return [...form.elements].filter((field) => field.name && !SECRET.has(field.type));
}

function read(form) {
  const kept = {};
  for (const field of fields(form)) {
    if ((field.type === "checkbox" || field.type === "radio") && !field.checked) continue;
    const values = field.type === "select-multiple" ? [...field.selectedOptions].map((one) => one.value) : [field.value];
    kept[field.name] = (kept[field.name] || []).concat(values);
  }
  return kept;
}

function restore(form, kept) {
  let changed = false;
  for (const field of fields(form)) {
    const values = kept[field.name] || [];
    if (field.type === "checkbox" || field.type === "radio") {
      const wanted = values.includes(field.value);
      changed = changed || field.checked !== wanted;
      field.checked = wanted;
    } else if (field.type === "select-multiple") {
      for (const option of field.options) {
        changed = changed || option.selected !== values.includes(option.value);
        option.selected = values.includes(option.value);
      }
    } else if (values.length && field.value !== values[0]) {
      field.value = values[0];
      changed = true;
    }
  }
  return changed;
}

function keep(form) {
  store.setItem(`draft:${keyOf(form)}`, JSON.stringify(read(form)));
}

function say(form) {
  const line = document.createElement("div");
  line.className = "kept";
  line.setAttribute("role", "status");
  const text = document.createElement("span");
  text.textContent = form.dataset.keptWords || "What you entered before is back in the form. It is not stored yet.";
  const clear = document.createElement("button");
  clear.type = "button";
  clear.className = "act low";
  clear.textContent = form.dataset.clearWords || "Clear it";
  clear.addEventListener("click", () => {
    store.removeItem(`draft:${keyOf(form)}`);
    form.reset();
    line.remove();
  });
  line.append(text, clear);
  form.before(line);
}

// A page reached from the form by a send that the box accepted: only then the draft has done its work.
function settle() {
  const way = performance.getEntriesByType("navigation")[0];
  const refused = document.querySelector("[data-errors]") || document.body.dataset.outcome === "lost";
  const from = document.referrer ? new URL(document.referrer).pathname : "";
  for (const name of Object.keys(store).filter((one) => one.startsWith("sent:"))) {
    const key = name.slice("sent:".length);
    if (way && way.type === "navigate" && !refused && from === key.split("|")[0]) {
      store.removeItem(`draft:${key}`);
      store.removeItem(name);
    } else if (refused) {
      store.removeItem(name);
    }
  }
}

export function drafts() {
  try {
    settle();
    for (const form of document.querySelectorAll("form[data-keep]")) {
      const kept = store.getItem(`draft:${keyOf(form)}`);
      if (kept && restore(form, JSON.parse(kept)) && !document.querySelector("[data-errors]")) say(form);
      form.addEventListener("input", () => keep(form));
      form.addEventListener("change", () => keep(form));
      form.addEventListener("submit", (event) => {
        keep(form);
        if (!navigator.onLine) {
          event.preventDefault();
          offline(true);
          return;
        }
        store.setItem(`sent:${keyOf(form)}`, "1");
      });
    }
    for (const form of document.querySelectorAll("form[data-forget]")) form.addEventListener("submit", () => store.clear());
  } catch (problem) {
    console.warn("This browser keeps no drafts:", problem);
  }
  announce();
}
