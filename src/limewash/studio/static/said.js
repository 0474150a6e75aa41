// @ts-check
/** The one place from which words are read out: `say` shows them as well, `announce` only speaks. */
import { el, icon } from "./dom.js";

let timer = 0;
let speaking = 0;

/**
 * A line at the foot of the page, read out as well. It goes by itself unless `stays`.
 * @param {string} text @param {"" | "care"} [kind] @param {boolean} [stays]
 */
export function say(text, kind = "", stays = false) {
  const place = region();
  if (!place) return;
  clearTimeout(timer);
  place.replaceChildren(...(text ? [el("p", { class: kind }, icon(kind === "care" ? "care" : "done"), text)] : []));
  if (text && !stays) timer = setTimeout(() => place.querySelector("p")?.remove(), kind === "care" ? 9000 : 3500);
}

/**
 * Words for those who hear the page: what others see on it already. Of many in a moment the last one is read.
 * @param {string} text
 */
export function announce(text) {
  clearTimeout(speaking);
  speaking = setTimeout(() => {
    const place = region();
    place?.querySelector(".unseen")?.remove();
    if (text) place?.append(el("span", { class: "unseen" }, text));
  }, 150);
}

/** Behind an open dialog nothing is read or seen: the place goes along with it. */
function region() {
  const place = document.getElementById("said");
  const host = [...document.querySelectorAll("dialog:modal")].at(-1) ?? document.body;
  if (place && place.parentElement !== host) host.append(place);
  return place;
}

/** A dialog is about to go: the place of the words must not go with it. @param {HTMLDialogElement} dialog */
export function leaveDialog(dialog) {
  const place = document.getElementById("said");
  if (place && dialog.contains(place)) document.body.append(place);
}
