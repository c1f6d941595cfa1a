// What every page does: light, clock, connection, drafts, errors. Each part works alone and is missed by none.
import { light } from "./light.js";
import { clock } from "./clock.js";
import { connection } from "./connection.js";
import { drafts } from "./drafts.js";
import { refresh } from "./refresh.js";

const errors = document.querySelector("[data-errors]");
if (errors) errors.focus();

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

light();
clock();
connection();
drafts();
refresh();
