// @ts-check
/** The site: forms at the left, what follows from them at the right, drawn anew with every change. */

import { askSides } from "../clashes.js";
import { button, el, icon, redrawn } from "../dom.js";
import { Form } from "../form.js";
import { jobPlace, startJob } from "../jobs.js";
import { roving } from "../roving.js";
import { groups } from "./groups.js";

const DRAWINGS = [
  ["front", "Front"], ["plan", "Plan"], ["section", "Section"], ["projector-view", "Projector's view"],
  ["light", "Light"], ["contrast", "Contrast"], ["pixels", "Pixels"],
];
const QUIET_MS = 250;

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = "Site - Limewash";
  root.classList.add("still");
  const [schema, state] = await Promise.all([studio.api.get("/api/house/schema"), studio.api.get("/api/house")]);
  const page = new SitePage(studio, schema, state);
  root.append(page.element);
  page.begin();
}

class SitePage {
  /** @param {any} studio @param {any} schema @param {any} state */
  constructor(studio, schema, state) {
    this.studio = studio;
    this.schema = schema;
    this.revision = state.revision;
    this.form = new Form(schema, state.house, (value, what) => this.changed(value, what));
    this.base = JSON.stringify(state.house);
    /** What could not be sent because the studio was away. @type {any} */
    this.unsent = null;
    this.drawing = sessionStorage.getItem("limewash.site-drawing") ?? "front";
    this.timer = 0;
    /** Revision from which a change that waits to be saved was made. @type {number | null} */
    this.seen = null;
    this.asked = 0;
    this.tools = el("section", { class: "tools", "aria-label": "Measures" });
    this.tabs = roving(el("div", { class: "segmented", role: "tablist", "aria-label": "Drawings" }));
    this.paper = el("div", { class: "paper", id: "paper", role: "tabpanel" });
    this.report = el("div", { class: "site-report" });
    this.found = el("div", { class: "stack" });
    this.jobs = jobPlace(studio, ["search"], (job) => this.showFound(job.result));
    this.board = el("div", { class: "board" },
      el("div", { class: "row" }, this.tabs, el("span", { class: "grow" }),
        button({ icon: "target", text: "Try every stand", label: "Search all allowed stands, heights and projectors", run: () => this.search() }),
        button({ icon: "save", text: "Set-up card", label: "The sheet from which the rig can be put back exactly (PDF)", href: "/api/site/card" })),
      this.jobs, this.found, this.paper, this.report);
    this.element = el("div", { class: "bench site" }, this.tools, this.board);
    this.steps(state);
  }

  begin() {
    this.drawTools();
    this.drawTabs();
    this.check();
    const { studio } = this;
    studio.steps.set({ onUndo: () => this.travel("undo"), onRedo: () => this.travel("redo") });
    addEventListener("pagehide", () => this.flush());
    studio.live.on("house", (/** @type {any} */ message) => {
      if (message.state.revision <= this.revision) return;
      this.take(message.state);
      this.check();
    });
    studio.live.on("again", () => this.readAgain());
  }

  async readAgain() {
    const state = await this.studio.api.get("/api/house");
    const { unsent } = this;
    this.unsent = null;
    const asBefore = JSON.stringify(state.house) === this.base;
    this.take(state);
    this.drawTools();
    if (unsent && asBefore) { // changed here while the studio was away, and nowhere else
      this.form.take(unsent);
      await this.save(unsent);
      return;
    }
    if (unsent) this.studio.say("What was changed here while the studio was away is lost: it was changed elsewhere too.", "care", true);
    await this.check();
  }

  drawTools() {
    const open = new Set([...this.tools.querySelectorAll("details[open][data-group]")].map((one) => one.dataset.group));
    const first = !this.tools.children.length;
    this.form.clear();
    redrawn(this.tools, () => this.tools.replaceChildren(...groups(this.form, this.schema, () => this.drawTools()).map(({ name, title, body }) =>
      el("details", { "data-group": name, open: first ? ["front", "projector", "stand"].includes(name) : open.has(name) }, el("summary", {}, title), body))));
  }

  drawTabs() {
    redrawn(this.tabs, () => this.tabs.replaceChildren(...DRAWINGS.map(([name, title]) => el("button", {
      class: "button", type: "button", role: "tab", "aria-selected": String(name === this.drawing), "aria-controls": "paper",
      on: { click: () => {
        this.drawing = name;
        sessionStorage.setItem("limewash.site-drawing", name);
        this.drawTabs();
        this.check();
      } },
    }, title))));
    this.paper.setAttribute("aria-label", DRAWINGS.find(([name]) => name === this.drawing)?.[1] ?? "Drawing");
  }

  /** @param {any} value @param {string} what */
  changed(value, what) {
    this.what = what;
    this.seen ??= this.revision; // what another window changes before this is saved, this has not seen
    clearTimeout(this.timer);
    this.waiting = value;
    this.timer = setTimeout(() => this.save(value), QUIET_MS);
  }

  /** What was changed in the last moment before the page goes. */
  flush() {
    clearTimeout(this.timer);
    if (this.seen !== null) this.studio.api.put("/api/house", { revision: this.seen, house: this.waiting, what: this.what }).catch(() => {});
    this.seen = null; // the page may come back
  }

  /** @param {any} value @param {object} [decided] which of two clashing values counts, after the person was asked */
  async save(value, decided = {}) {
    const revision = this.seen ?? this.revision;
    this.seen = null;
    try {
      const state = await this.studio.api.put("/api/house", { revision, house: value, what: this.what, ...decided });
      const together = state.revision > revision + 1;
      this.unsent = null;
      this.take(state);
      if (together) this.drawTools(); // another window may have added to a list
      this.form.faults([]);
    } catch (error) {
      const refused = /** @type {any} */ (error);
      if (refused.status === 0) this.unsent = value;
      if (refused.body?.clashes?.length) {
        const sides = await askSides(refused.body.clashes);
        this.seen = revision;
        await this.save(value, { decided: sides, decided_for: refused.body.revision });
        return;
      }
      if (refused.status === 409) await this.readAgain();
      const rest = this.form.faults(refused.body?.faults ?? []);
      if (refused.status === 409 || !refused.body?.faults?.length) this.studio.say(refused.message, "care");
      else if (rest.length) this.studio.say(`${rest[0].where}: ${rest[0].message}`, "care");
    }
    await this.check();
  }

  /** @param {"undo" | "redo"} way */
  async travel(way) {
    try {
      this.take(await this.studio.api.post(`/api/house/${way}`, { revision: this.revision }));
      this.drawTools();
      await this.check();
    } catch (error) {
      this.studio.say(/** @type {Error} */ (error).message, "care");
    }
  }

  /** @param {any} state */
  take(state) {
    this.revision = state.revision;
    this.base = JSON.stringify(state.house);
    if (this.seen === null) this.form.take(state.house); // a change that waits to be saved stays in the form
    this.steps(state);
  }

  /** @param {any} state */
  steps(state) {
    this.studio.steps.set({ undo: state.can_undo, redo: state.can_redo });
  }

  /** Figures and drawing of what the form says now. */
  async check() {
    const mine = ++this.asked;
    const { drawing } = this;
    let report;
    try {
      report = await this.studio.api.post("/api/site/check", { house: this.form.value, drawings: [drawing] });
    } catch (error) {
      if (mine === this.asked) this.missing(/** @type {Error} */ (error).message);
      return;
    }
    if (mine !== this.asked) return;
    if (report.missing) {
      this.missing(report.missing);
      return;
    }
    const image = el("img", { alt: `Drawing: ${drawing}`, src: `data:image/svg+xml;charset=utf-8,${encodeURIComponent(report.drawings[drawing])}` });
    await image.decode().catch(() => {});
    if (mine !== this.asked) return;
    this.paper.replaceChildren(image);
    this.report.replaceChildren(
      el("div", { class: "stack" }, ...report.cautions.map((/** @type {string} */ text) => el("div", { class: "note care" }, icon("care"), el("p", {}, text)))),
      el("div", { class: "site-tables" },
        table("Picture and light", report.figures), table("Power, cable, weather", report.services)),
      report.parts.length > 1 ? table("Parts of the front", report.parts, ["", "lit", "light", "mean", "of the picture"]) : "",
      report.shadows.length ? table("Shadows", report.shadows, ["shadow of", "on", "area", "seen by the audience"]) : "");
  }

  /** What must be given before anything can be reckoned, each with the way to it. @param {string} message */
  missing(message) {
    const house = this.form.value;
    const wanted = [
      [!house.facade, "front", "Measure the house front"],
      [house.facade && !house.facade.material && house.facade.reflectance === null && !house.facade.part?.length, "front", "Say what the wall is made of, or how pale it is"],
      [!house.site, "light", "Say how light it is around"],
      [!house.rig[0].stand, "stand", "Place the projector, or try every stand"],
    ].filter(([is]) => is);
    this.paper.replaceChildren(el("div", { class: "empty" }, icon("pen"),
      wanted.length ? el("p", {}, `Picture and light are reckoned as soon as ${wanted.length > 1 ? "these are" : "this is"} known:`) : "",
      ...(wanted.length ? wanted.map(([, name, words]) => button({ text: words, run: () => this.openGroup(name) })) : [el("p", {}, message)])));
    this.report.replaceChildren();
  }

  /** @param {string} name */
  openGroup(name) {
    const group = this.tools.querySelector(`details[data-group="${name}"]`);
    group.open = true;
    group.scrollIntoView({ block: "start" });
    group.querySelector("input, select, button")?.focus();
  }

  async search() {
    this.found.replaceChildren();
    await startJob(this.studio, () => this.studio.api.post("/api/site/search"));
  }

  /** @param {any} result */
  showFound(result) {
    this.found.replaceChildren(
      el("section", { class: "sheet stack" },
        el("div", { class: "row" }, el("h2", {}, `Best of ${result.evaluated.toLocaleString("en")} stands`),
          button({ icon: "close", label: "Close", kind: "end", run: () => this.found.replaceChildren() })),
        el("div", { class: "scroll" }, el("table", { class: "figures" },
          el("thead", {}, el("tr", {}, ...result.columns.map((/** @type {string} */ one) => el("th", { scope: "col" }, one)), el("th", {}))),
          el("tbody", {}, ...result.rows.map((/** @type {string[]} */ row, /** @type {number} */ n) => el("tr", {},
            ...row.map((cell) => el("td", {}, cell)),
            el("td", { class: "number" }, button({ text: "Take", label: `Put the projector there`, run: () => this.takeStand(result.rigs[n]) }))))))),
        result.why ? el("p", {}, result.why) : null,
        ...result.helps.map((/** @type {any} */ help) => el("div", { class: "note" }, icon("about"), el("div", {}, el("p", {}, `${help.short}. What would help:`),
          el("ul", {}, ...help.steps.map((/** @type {string} */ one) => el("li", {}, one))))))));
  }

  /** @param {any} rig */
  takeStand(rig) {
    const mine = this.form.get("rig.0");
    this.form.set("rig.0", { ...mine, projector: { ...mine.projector, ...rig.projector, name: mine.projector.name ?? rig.projector.name }, stand: rig.stand }, "take a stand");
    this.drawTools();
  }
}

/** @param {string} title @param {string[][]} rows @param {string[]} [head] */
function table(title, rows, head) {
  return el("section", { class: "stack" }, el("h3", {}, title), el("div", { class: "scroll" }, el("table", { class: "figures" },
    head ? el("thead", {}, el("tr", {}, ...head.map((one) => el("th", { scope: "col" }, one)))) : null,
    el("tbody", {}, ...rows.map((row) => el("tr", {}, ...row.map((cell, n) => el(n ? "td" : "th", n ? {} : { scope: "row" }, cell))))))));
}
