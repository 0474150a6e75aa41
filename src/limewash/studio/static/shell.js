// @ts-check
/**
 * The frame around every page: the rail of stages, undo and redo, what the projector shows, theme, keyboard help.
 *
 * A page is a module `/static/<page>/page.js` with `export async function mount(root, studio)`. It gets the empty <main>
 * and this studio:
 *
 *   studio.api        get, post, put, del, upload (see api.js); refusals are thrown as `Refused`
 *   studio.live       the live channel (see live.js)
 *   studio.keys       add([{keys, what, group, run}]) (see keys.js); shown in the help by themselves
 *   studio.steps      set({undo, redo, onUndo, onRedo}): words of what would be undone, or null
 *   studio.say        say("Saved"), say("...", "care"): a line at the foot, also read out
 *   studio.announce   announce("3 points"): read out only; what is seen changes elsewhere
 *   studio.project    {name, folder, ...} or null
 *   studio.projector  show(what), blank(), state (see projector_bar.js)
 *   studio.ask        ask({title, text, yes, no}) -> Promise<boolean>
 */

import * as api from "./api.js";
import { ask, keysHelp } from "./dialogs.js";
import { button, el } from "./dom.js";
import { houseSteps } from "./house_steps.js";
import { Keys } from "./keys.js";
import { Live } from "./live.js";
import { ProjectorBar } from "./projector_bar.js";
import { rail, subPages } from "./rail.js";
import { announce, say } from "./said.js";
import { themeControls } from "./theme_controls.js";

const page = document.body.dataset.page ?? "home";
const keys = new Keys();
const live = new Live();

class Steps {
  undo = button({ icon: "undo", label: "Nothing to undo", run: () => this.run("undo") });
  redo = button({ icon: "redo", label: "Nothing to redo", run: () => this.run("redo") });
  /** @type {{undo?: string | null, redo?: string | null, onUndo?: () => unknown, onRedo?: () => unknown}} */
  #now = {};
  /** @type {Promise<unknown>} */
  #queue = Promise.resolve();

  constructor() {
    this.set({});
  }

  /** @param {{undo?: string | null, redo?: string | null, onUndo?: () => unknown, onRedo?: () => unknown}} steps */
  set(steps) {
    this.#now = { ...this.#now, ...steps };
    this.#label(this.undo, "Undo", this.#now.undo, "Ctrl+Z");
    this.#label(this.redo, "Redo", this.#now.redo, "Ctrl+Shift+Z");
  }

  /** Whether a page has steps of its own. */
  get taken() {
    return Boolean(this.#now.onUndo);
  }

  /** One after the other: pressed twice quickly, the second step begins where the first has ended. @param {"undo" | "redo"} way */
  run(way) {
    const done = this.#queue.then(() => {
      if (way === "undo" && this.#now.undo) return this.#now.onUndo?.();
      if (way === "redo" && this.#now.redo) return this.#now.onRedo?.();
    });
    this.#queue = done.catch(() => {});
  }

  /** @param {HTMLButtonElement} control @param {string} word @param {string | null | undefined} what @param {string} key */
  #label(control, word, what, key) {
    control.setAttribute("aria-disabled", String(!what)); // a control that is switched off would drop the focus
    const text = what ? `${word}: ${what} (${key})` : `Nothing to ${word.toLowerCase()}`;
    control.title = text;
    control.setAttribute("aria-label", text);
  }
}

async function start() {
  const open = live.hold();
  const steps = new Steps();
  const projector = new ProjectorBar(api, live, say);
  const where = await api.get("/api/project").catch(() => ({ open: false }));
  const studio = { api, live, keys, steps, say, announce, ask, projector, project: where.open ? where : null };
  keys.add([
    { keys: "?", what: "Show these keys", dialogs: true, run: () => keysHelp(keys) },
    { keys: "Ctrl+Z", what: "Undo", held: true, run: () => steps.run("undo") },
    { keys: "Ctrl+Shift+Z, Ctrl+Y", what: "Redo", held: true, run: () => steps.run("redo") },
    { keys: "B", what: "Projector black, or back to what it showed", dialogs: true, run: () => projector.blank() },
    { keys: "Alt+B", what: "The same while typing in a field", typing: true, dialogs: true, run: () => projector.blank() },
    ...["site", "scan", "trace", "show", "night"].map((name, n) => ({
      keys: `Alt+${n + 1}`, what: `Go to ${name[0].toUpperCase()}${name.slice(1)}`, typing: true,
      run: () => location.assign(`/${name}`),
    })),
    { keys: "Alt+0", what: "Go to the start page", typing: true, run: () => location.assign("/") },
  ]);
  document.getElementById("bar")?.append(
    el("a", { class: "skip", href: "#page" }, "To the page"),
    el(
      "a", { class: "house", href: "/", title: "Start page" },
      el("img", { src: "/static/icon.svg", alt: "", width: 26, height: 26 }),
      el("span", { class: "house-name" }, where.open ? where.name : "Limewash"),
    ),
    rail(page, where),
    el("div", { class: "bar-tools", role: "group", "aria-label": "Tools" },
      steps.undo, steps.redo, el("span", { class: "bar-gap" }), projector.element, el("span", { class: "bar-gap" }),
      themeControls(), button({ icon: "help", label: "Keys (?)", run: () => keysHelp(keys) })),
  );
  const sub = subPages(page);
  if (sub) document.getElementById("bar")?.after(sub);
  live.on("closed", () => say("The studio's server went away; waiting for it.", "care", true));
  live.on("open", () => say("", "", false));
  live.on("trouble", (message) => say(message.message, "care", true));
  live.on("refused", (message) => say(message.message, "care"));
  live.on("project", () => location.assign("/"));
  live.on("again", (message) => { if (message.folder !== (where.open ? where.folder : null)) location.assign("/"); });
  const root = document.getElementById("page");
  try {
    const [module] = await Promise.all([import(`./${page}/page.js`), open]);
    await module.mount(root, studio);
    if (root && !root.querySelector("h1")) root.prepend(el("h1", { class: "unseen" }, document.title.replace(/ - Limewash$/, "")));
    if (studio.project && !steps.taken) await houseSteps(studio);
  } catch (error) {
    const refused = error instanceof api.Refused ? error
      : new api.Refused(0, { message: "This page could not be opened. Load it again; if that does not help, start the studio anew." });
    const title = document.title.replace(/ - Limewash$/, "");
    root?.append(el("section", { class: "sheet lonely" }, el("h1", {}, title), el("p", {}, refused.message), button({ ...refused.next, kind: "main" })));
    if (!(error instanceof api.Refused)) throw error;
  }
  live.release();
  document.body.dataset.ready = "true";
}

start();
