// @ts-check
import { el } from "./dom.js";

const STAGES = [
  ["site", "Site"],
  ["scan", "Scan"],
  ["trace", "Trace"],
  ["show", "Show"],
  ["night", "Night"],
];

/**
 * The five stages on one line, each with how far it is.
 * @param {string} page @param {any} project what `/api/project` gave
 */
export function rail(page, project) {
  const states = project?.stages ?? {};
  return el("nav", { class: "rail", "aria-label": "Stages" }, el("ol", {},
    ...STAGES.map(([name, title], number) => {
      const state = states[name]?.state ?? "ahead";
      return el("li", { class: state },
        el("a", { href: `/${name}`, "aria-current": page === name ? "page" : null, title: `${states[name]?.text ?? title} (Alt+${number + 1})` },
          el("i", { class: "stop", "aria-hidden": "true" }), title,
          el("span", { class: "unseen" }, { done: ", done", next: ", next", ahead: "" }[/** @type {"done"} */ (state)] ?? "")));
    })));
}
