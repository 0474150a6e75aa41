// @ts-check
import { el, icon } from "./dom.js";

let timer = 0;

/**
 * A line at the foot of the page, read out as well. It goes by itself unless `stays`.
 * @param {string} text @param {"" | "care"} [kind] @param {boolean} [stays]
 */
export function say(text, kind = "", stays = false) {
  const place = document.getElementById("said");
  if (!place) return;
  clearTimeout(timer);
  place.replaceChildren(...(text ? [el("p", { class: kind }, icon(kind === "care" ? "care" : "done"), text)] : []));
  if (text && !stays) timer = setTimeout(() => place.replaceChildren(), kind === "care" ? 9000 : 3500);
}
