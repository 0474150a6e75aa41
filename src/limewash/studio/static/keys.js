// @ts-check
/** Keyboard: one list of what each key does, for the keys themselves and for the help that shows them. */

/** @typedef {{keys: string, what: string, group?: string, run: (event: KeyboardEvent) => void, typing?: boolean}} Key */

const MODIFIERS = /** @type {const} */ (["Ctrl", "Alt", "Shift"]);

export class Keys {
  /** @type {Key[]} */
  #list = [];

  constructor() {
    addEventListener("keydown", (event) => this.#pressed(event));
  }

  /**
   * Add keys; later ones go before earlier ones. `keys` is like "Ctrl+Z", "Shift+ArrowLeft", "?" or two with a comma.
   * On a Mac the command key counts as Ctrl. Gives a function that takes them away again.
   * @param {Key[]} keys
   */
  add(keys) {
    this.#list.unshift(...keys);
    return () => {
      this.#list = this.#list.filter((key) => !keys.includes(key));
    };
  }

  /** For the help: groups in order of appearance. @returns {Map<string, Key[]>} */
  groups() {
    const groups = new Map();
    for (const key of this.#list.toReversed()) {
      const name = key.group ?? "Everywhere";
      groups.set(name, [...(groups.get(name) ?? []), key]);
    }
    return groups;
  }

  /** @param {KeyboardEvent} event */
  #pressed(event) {
    if (event.defaultPrevented || event.isComposing) return;
    const typing = isTyping(event.target);
    if (document.querySelector("dialog[open]") && event.key !== "Escape" && event.key !== "?") return;
    const pressed = spelled(event);
    const found = this.#list.find(
      (key) => (!typing || key.typing) && key.keys.split(", ").some((one) => one === pressed),
    );
    if (!found) return;
    event.preventDefault();
    found.run(event);
  }
}

/** @param {EventTarget | null} target */
function isTyping(target) {
  if (!(target instanceof HTMLElement)) return false;
  if (target instanceof HTMLInputElement) return !["checkbox", "radio", "range", "button", "color"].includes(target.type);
  return target.isContentEditable || target instanceof HTMLTextAreaElement || target instanceof HTMLSelectElement;
}

/** A pressed key as it is written in the list. @param {KeyboardEvent} event */
export function spelled(event) {
  const letter = event.key.length === 1;
  const name = event.key === " " ? "Space" : letter ? event.key.toUpperCase() : event.key;
  const held = { Ctrl: event.ctrlKey || event.metaKey, Alt: event.altKey, Shift: event.shiftKey };
  // Shift is part of a sign such as "?", but not of a letter or of an arrow.
  const counts = MODIFIERS.filter((m) => held[m] && !(m === "Shift" && letter && !/[A-Z0-9]/.test(name) && name !== "Space"));
  return [...counts, name].join("+");
}
