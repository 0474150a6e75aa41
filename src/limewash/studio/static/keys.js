// @ts-check
/** Keyboard: one list of what each key does, for the keys themselves and for the help that shows them. */

/**
 * `typing`: also while the person types in a field; `dialogs`: also while a dialog is open; `held`: again and again while
 * the key is held down.
 * @typedef {{keys: string, what: string, group?: string, run: (event: KeyboardEvent) => void, typing?: boolean, dialogs?: boolean, held?: boolean}} Key
 */

const MODIFIERS = /** @type {const} */ (["Ctrl", "Alt", "Shift"]);

export class Keys {
  /** As they were added, the newest last. @type {Key[][]} */
  #added = [];

  /** Whether a letter, digit or sign acts without Ctrl or Alt held. */
  letters = localStorage.getItem("limewash.letters") !== "off";

  constructor() {
    addEventListener("keydown", (event) => this.#pressed(event));
  }

  /** @param {boolean} on */
  setLetters(on) {
    this.letters = on;
    localStorage.setItem("limewash.letters", on ? "on" : "off");
  }

  /**
   * Add keys; later ones go before earlier ones. `keys` is like "Ctrl+Z", "Shift+ArrowLeft", "?" or two with a comma.
   * On a Mac the command key counts as Ctrl. Gives a function that takes them away again.
   * @param {Key[]} keys
   */
  add(keys) {
    this.#added.push(keys);
    return () => {
      this.#added = this.#added.filter((some) => some !== keys);
    };
  }

  /**
   * For the help: groups in order of appearance, in each what its keys do; keys that do alike stand together.
   * @returns {Map<string, Map<string, string[]>>}
   */
  groups() {
    const groups = new Map();
    for (const { keys, what, group = "Everywhere" } of this.#added.flat()) {
      if (!groups.has(group)) groups.set(group, new Map());
      const rows = groups.get(group);
      rows.set(what, [...(rows.get(what) ?? []), keys.split(", ")[0]]);
    }
    return groups;
  }

  /** @param {KeyboardEvent} event */
  #pressed(event) {
    if (event.defaultPrevented || event.isComposing) return;
    const typing = isTyping(event.target);
    const inDialog = document.querySelector("dialog[open]") !== null;
    if (belongsTo(event.target, event) || (!this.letters && isLetter(event))) return;
    const pressed = spelled(event);
    const found = this.#added.toReversed().flat().find((key) => (!typing || key.typing) && (!inDialog || key.dialogs)
      && key.keys.split(", ").some((one) => one === pressed));
    if (!found) return;
    event.preventDefault();
    if (!event.repeat || found.held) found.run(event);
  }
}

/** @param {EventTarget | null} target */
function isTyping(target) {
  if (!(target instanceof HTMLElement)) return false;
  if (target instanceof HTMLInputElement) return !["checkbox", "radio", "range", "button", "color"].includes(target.type);
  return target.isContentEditable || target instanceof HTMLTextAreaElement || target instanceof HTMLSelectElement;
}

const WALKING = ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End", "PageUp", "PageDown"];

/** Whether a control needs a key for itself: Enter and Space press it, arrows move a slider. @param {EventTarget | null} target @param {KeyboardEvent} event */
function belongsTo(target, event) {
  if (!(target instanceof HTMLElement) || event.ctrlKey || event.altKey || event.metaKey) return false;
  if (event.key === "Enter" || event.key === " ") return target.matches("button, a[href], summary, input, select, video");
  return WALKING.includes(event.key) && target.matches("input[type=range], input[type=radio], select, video");
}

/** The help stays within reach: there the letters are let in again. @param {KeyboardEvent} event */
function isLetter(event) {
  return event.key.length === 1 && event.key !== " " && event.key !== "?" && !event.ctrlKey && !event.altKey && !event.metaKey;
}

/** A pressed key as it is written in the list. @param {KeyboardEvent} event */
export function spelled(event) {
  // With Option a Mac writes other signs: Option+B is an integral sign. The key itself counts then.
  const code = event.altKey && event.key.length === 1 && event.key.charCodeAt(0) > 126 ? /^(?:Key|Digit)(.)$/.exec(event.code)?.[1] : undefined;
  const letter = event.key.length === 1;
  const name = event.key === " " ? "Space" : letter ? (code ?? event.key).toUpperCase() : event.key;
  const held = { Ctrl: event.ctrlKey || event.metaKey, Alt: event.altKey, Shift: event.shiftKey };
  // Shift is part of a sign such as "?", but not of a letter or of an arrow.
  const counts = MODIFIERS.filter((m) => held[m] && !(m === "Shift" && letter && !/[A-Z0-9]/.test(name) && name !== "Space"));
  return [...counts, name].join("+");
}
