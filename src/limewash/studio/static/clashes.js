// @ts-check
/** What two windows changed differently: the person says, field by field, which value counts. */

import { button, el } from "./dom.js";
import { label, shown } from "./form.js";
import { sheet } from "./dialogs.js";

/**
 * Closed without an answer, the other window's values stay.
 * @param {{where: string, mine: any, theirs: any}[]} clashes
 * @returns {Promise<Record<string, "mine" | "theirs">>}
 */
export function askSides(clashes) {
  return new Promise((answer) => {
    let taken = false;
    const rows = clashes.map(({ where, mine, theirs }, n) => {
      const choice = (/** @type {"mine" | "theirs"} */ side, /** @type {string} */ words, /** @type {any} */ value) =>
        el("label", { class: "check" }, el("input", { type: "radio", name: `clash-${n}`, value: side, checked: side === "mine" }), words, el("strong", {}, inWords(value)));
      return el("fieldset", { class: "clash" }, el("legend", {}, placeInWords(where)), choice("mine", "here", mine), choice("theirs", "in the other window", theirs));
    });
    const dialog = sheet("Changed in another window too", el("form", { class: "stack", on: { submit: (/** @type {Event} */ event) => {
      event.preventDefault();
      taken = true;
      dialog.close();
    } } },
    el("p", {}, clashes.length === 1 ? "This field was changed in both windows. Which value is right?" : "These fields were changed in both windows. Which values are right?"),
    ...rows,
    el("p", { class: "soft small" }, "What was changed in one window alone is kept from both. Undo brings the other value back."),
    el("div", { class: "row end" }, button({ text: "Keep the other window's", run: () => dialog.close() }), el("button", { class: "button main", type: "submit" }, "Take these"))));
    dialog.classList.add("new-dialog");
    const side = (/** @type {number} */ n) => /** @type {"mine" | "theirs"} */ (taken && dialog.querySelector(`[name=clash-${n}][value=mine]:checked`) ? "mine" : "theirs");
    dialog.addEventListener("close", () => answer(Object.fromEntries(clashes.map(({ where }, n) => [where, side(n)]))));
  });
}

/** "facade.part.porch.rectangle" as "Facade, part, porch, rectangle". @param {string} where */
function placeInWords(where) {
  return where.split(".").filter((part) => part !== "0" && part !== "rig").map((part, n) => (n ? label(part).toLowerCase() : label(part))).join(", ");
}

/** @param {any} value @returns {string} */
function inWords(value) {
  if (value === null || value === "") return "not given";
  if (Array.isArray(value) && value.every((one) => typeof one !== "object" || one === null)) return value.map(inWords).join(", ");
  return typeof value === "object" ? (value.name ?? value.what ?? "as entered there") : shown(value);
}
