// @ts-check
import { button, el } from "./dom.js";
import { leaveDialog } from "./said.js";

/**
 * A question with two answers.
 * @param {{title: string, text?: string, yes: string, no?: string}} words
 * @returns {Promise<boolean>}
 */
export function ask(words) {
  return new Promise((answer) => {
    const dialog = el("dialog", { class: "ask", "aria-label": words.title, on: { close: () => done(dialog.returnValue === "yes") } },
      el("form", { method: "dialog" },
        el("h2", {}, words.title),
        words.text ? el("p", {}, words.text) : null,
        el("div", { class: "row end" },
          el("button", { class: "button", value: "no" }, words.no ?? "Cancel"),
          el("button", { class: "button main", value: "yes", autofocus: true }, words.yes))));
    /** @param {boolean} said */
    function done(said) {
      leaveDialog(dialog);
      dialog.remove();
      answer(said);
    }
    document.body.append(dialog);
    dialog.showModal();
  });
}

/**
 * A dialog with any content; gives it back so that the caller can close it.
 * @param {string} title @param {...Node} children
 * @returns {HTMLDialogElement}
 */
export function sheet(title, ...children) {
  const dialog = el("dialog", { class: "sheet-dialog", "aria-label": title, on: { close: () => { leaveDialog(dialog); dialog.remove(); } } },
    el("div", { class: "row" }, el("h2", {}, title), button({ icon: "close", label: "Close (Esc)", kind: "end", run: () => dialog.close() })),
    ...children);
  document.body.append(dialog);
  dialog.showModal();
  return dialog;
}

/** What each key does. @param {import("./keys.js").Keys} keys */
export function keysHelp(keys) {
  const open = document.querySelector("dialog.keys");
  if (open instanceof HTMLDialogElement) {
    open.close();
    return;
  }
  const groups = [...keys.groups()].map(([name, rows]) =>
    el("section", {}, el("h3", {}, name), el("dl", {}, ...[...rows].flatMap(([what, some]) => [
      el("dt", {}, ...some.flatMap((one, n) => (n ? keyCaps(one).slice(-1) : keyCaps(one)))), el("dd", {}, what)]))));
  const letters = el("input", { type: "checkbox", id: "letters", checked: keys.letters, on: { change: () => keys.setLetters(letters.checked) } });
  sheet("Keys", el("label", { class: "check keys-letters" }, letters, "Letters and digits alone act; without them speech input cannot set them off"),
    el("div", { class: "keys-columns" }, ...groups)).classList.add("keys");
}

const SIGNS = { ArrowLeft: "←", ArrowRight: "→", ArrowUp: "↑", ArrowDown: "↓", Escape: "Esc" };

/** The keys of a combination; the last is the one that is pressed while the others are held. @param {string} combination */
function keyCaps(combination) {
  return (combination === "+" ? ["+"] : combination.split("+")).map((key) => el("kbd", {}, SIGNS[/** @type {keyof typeof SIGNS} */ (key)] ?? key));
}
