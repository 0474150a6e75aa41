// @ts-check
import { button, el, icon } from "./dom.js";

/**
 * What the projector shows now, in the bar of every page; and the one way to change it.
 * State: {what, words, blanked, page: null | {width, height, ...}, warnings: [text]}
 */
export class ProjectorBar {
  /** @type {any} */
  state = { what: "black", words: "black", blanked: false, page: null, warnings: [] };
  #button;
  #words = el("span", { class: "beam-words" }, "no projector page");
  /** @type {Set<(state: any) => void>} */
  #watchers = new Set();
  /** Black or not, as pressed here, until the studio has answered. @type {boolean | null} */
  #wish = null;
  #presses = 0;
  /** @type {Promise<void>} */
  #telling = Promise.resolve();

  /** @param {typeof import("./api.js")} api @param {import("./live.js").Live} live @param {Function} say */
  constructor(api, live, say) {
    this.api = api;
    this.say = say;
    this.#button = button({ icon: "blank", label: "Projector black (B)", run: () => this.blank() });
    this.element = el("span", { class: "beam" },
      el("a", { class: "beam-state", href: "/projector", target: "limewash-projector", title: "Open the projector page",
        on: { click: (/** @type {Event} */ event) => { event.preventDefault(); this.open(); } } }, icon("beam"), this.#words),
      this.#button);
    live.on("projector", (message) => this.#take(message.state));
    live.on("open", (message) => message.projector && this.#take(message.projector));
  }

  /** Hear of every change. @param {(state: any) => void} watcher */
  watch(watcher) {
    this.#watchers.add(watcher);
    watcher(this.state);
  }

  /** Show something: "black", "white", "focus", "grid", "marks", "tracing", "map", {what: "show", name}... @param {any} what */
  async show(what) {
    try {
      this.#take(await this.api.put("/api/projector/show", typeof what === "string" ? { what } : what));
    } catch (error) {
      this.say(/** @type {Error} */ (error).message, "care");
    }
  }

  /** Black at once; again: back to what it was. */
  async blank() {
    const blanked = !(this.#wish ?? this.state.blanked);
    const mine = ++this.#presses;
    this.#wish = blanked;
    this.#telling = this.#telling.then(async () => {
      try {
        this.#take(await this.api.put("/api/projector/blank", { blanked }));
      } catch (error) {
        this.say(`${blanked ? "Not black" : "Still black"}: ${/** @type {Error} */ (error).message}`, "care", true);
      }
      if (mine === this.#presses) this.#wish = null;
    });
    await this.#telling;
  }

  /** Open the page on the second display where the browser can find it, else in a new window. */
  async open() {
    const { openProjectorPage } = await import("./projector/open.js");
    await openProjectorPage(this.say);
  }

  /** @param {any} state */
  #take(state) {
    this.state = state;
    const { page, blanked, words, warnings } = state;
    this.#words.textContent = !page ? "no projector page" : blanked ? "blanked" : words;
    this.element.classList.toggle("lit", Boolean(page) && !blanked && state.what !== "black");
    this.element.classList.toggle("care", Boolean(page) && warnings.length > 0);
    this.element.title = warnings.join("\n");
    this.#button.setAttribute("aria-pressed", String(blanked));
    for (const watcher of this.#watchers) watcher(state);
  }
}
