// @ts-check
/** The night: what the projector shows now, one large key for black, the list before the show. */

import * as api from "../api.js";
import { button, el, icon } from "../dom.js";
import { projectorHealth } from "../projector/controls.js";

const STILLS = [["black", "Black"], ["white", "White"], ["focus", "Focus chart"], ["grid", "Alignment grid"], ["marks", "Registration marks"], ["map", "Map"], ["tracing", "Live tracing"]];

const BEFORE = [
  "Cords off wet ground and off paths; the projector's air is free.",
  "Grid on the wall: all four sides of the outermost line are seen.",
  "Map on the wall: windows, door and roof line sit. If not, settle it.",
  "Nobody can look into the lens; the space in front is marked off.",
  "Guests are warned of changing light.",
];

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = "Night - Limewash";
  if (!studio.project) throw new api.Refused(422, { message: "No project is open; open one on the start page." });
  const shows = (await api.get("/api/shows")).filter((/** @type {any} */ one) => one.film_bytes);
  const black = el("button", { class: "button night-black", type: "button", on: { click: () => studio.projector.blank() } });
  const grid = el("div", { class: "shown-grid", role: "group", "aria-label": "On the projector" },
    ...STILLS.map(([what, title]) => choice(what, title, () => studio.projector.show(what))),
    ...shows.map((/** @type {any} */ one) => choice(`show ${one.name}`, `Show: ${one.name}`, () => studio.projector.show({ what: "show", name: one.name }), "play")));
  const list = el("ul", { class: "plain checks" }, ...BEFORE.map((text, n) => el("li", {}, el("label", { class: "check" }, el("input", { type: "checkbox", id: `check-${n}` }), text))));
  root.append(el("div", { class: "page night" },
    el("div", { class: "two" },
      el("section", { class: "stack wide" }, el("h1", {}, "Tonight"), projectorHealth(studio), black,
        el("div", { class: "stack" }, el("h3", {}, "On the projector"), grid,
          shows.length ? null : el("div", { class: "row" }, el("p", { class: "soft small" }, "No finished film yet: render a show first."), button({ text: "To the show", href: "/show" })))),
      el("section", { class: "sheet stack" }, el("h2", {}, "Before the show"), list,
        el("div", { class: "row" }, button({ icon: "target", text: "Settle the map", href: "/trace/settle" })),
        el("div", { class: "note" }, icon("night"), el("p", {}, "Dusk schedule, curfew, drift check and the night log are still to come. Until then this page plays and blanks by hand."))))));
  studio.projector.watch((/** @type {any} */ state) => {
    const now = state.what === "show" ? `show ${state.name}` : state.what;
    for (const one of grid.children) one.setAttribute("aria-pressed", String(!state.blanked && one.dataset.what === now));
    black.textContent = state.blanked ? "Light again" : "Black";
    black.setAttribute("aria-pressed", String(Boolean(state.blanked)));
  });
}

/** @param {string} what @param {string} title @param {() => void} run @param {"play" | "beam"} [sign] */
function choice(what, title, run, sign = "beam") {
  const one = button({ icon: sign, text: title, run });
  one.dataset.what = what;
  return one;
}
