// @ts-check
import { el } from "./dom.js";

const STAGES = [
  ["site", "Site"],
  ["scan", "Scan"],
  ["trace", "Trace"],
  ["show", "Show"],
  ["night", "Night"],
];

/** Pages below a stage. */
const SUBS = {
  trace: [["trace", "/trace", "On the photo"], ["house", "/trace/house", "On the house"], ["settle", "/trace/settle", "Settle"]],
  show: [["show", "/show", "Score and film"], ["packet", "/show/packet", "For an artist"]],
};

/** @param {string} page @returns {string} the stage that a page belongs to */
function stageOf(page) {
  return Object.entries(SUBS).find(([, pages]) => pages.some(([name]) => name === page))?.[0] ?? page;
}

/** The pages of the present stage, where it has several. @param {string} page */
export function subPages(page) {
  const pages = SUBS[/** @type {keyof typeof SUBS} */ (stageOf(page))];
  if (!pages) return null;
  return el("nav", { id: "sub", "aria-label": "Pages of this stage" }, ...pages.map(([name, href, title]) =>
    el("a", { href, "aria-current": name === page ? "page" : null }, title)));
}

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
        el("a", { href: `/${name}`, "aria-current": stageOf(page) === name ? "page" : null, title: `${states[name]?.text ?? title} (Alt+${number + 1})` },
          el("i", { class: "stop", "aria-hidden": "true" }), title,
          el("span", { class: "unseen" }, { done: ", done", next: ", next", ahead: "" }[/** @type {"done"} */ (state)] ?? "")));
    })));
}
