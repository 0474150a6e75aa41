// @ts-check
/** The show: its score as text and as a time line, stills from the street, the film. */

import * as api from "../api.js";
import { sheet } from "../dialogs.js";
import { button, el, icon, redrawn } from "../dom.js";
import { jobPlace, startJob } from "../jobs.js";
import { TimeLine } from "./timeline.js";

const TYPED_MS = 700;

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = "Show - Limewash";
  if (!studio.project) throw new api.Refused(422, { message: "No project is open; open one on the start page." });
  root.classList.add("still");
  const page = new ShowPage(studio);
  root.append(page.element);
  await page.refresh();
}

class ShowPage {
  /** @param {any} studio */
  constructor(studio) {
    this.studio = studio;
    this.name = sessionStorage.getItem("limewash.show") ?? "";
    this.timer = 0;
    this.asked = 0;
    /** The score as it is on disk, and a word for it. */
    this.saved = "";
    this.seen = "";
    this.asking = false;
    /** One save after the other. @type {Promise<void>} */
    this.saving = Promise.resolve();
    this.names = el("div", { class: "segmented", role: "group", "aria-label": "Shows" });
    this.still = el("img", { alt: "The show as seen from the street", hidden: true });
    this.plate = el("figure", { class: "plate show-plate" }, this.still, el("div", { class: "plate-words" }));
    this.line = new TimeLine((at, rest) => this.look(at, rest));
    this.text = el("textarea", { spellcheck: "false", "aria-label": "Score", "aria-describedby": "score-fault", on: { input: () => this.typed() } });
    this.trouble = el("p", { class: "fault score-fault", id: "score-fault" });
    this.actions = el("div", { class: "row" });
    this.jobs = jobPlace(studio, ["render", "map"], (job) => {
      studio.say(job.kind === "map" ? "The map is made." : "The film is finished.");
      this.refresh();
    });
    this.element = el("div", { class: "show-bench" },
      el("div", { class: "show-head row" }, this.names, button({ icon: "plus", text: "New show", run: () => this.begin() }), el("span", { class: "grow" }), this.actions),
      el("div", { class: "show-main" }, el("div", { class: "show-stage" }, this.plate, this.line.element, this.jobs),
        el("div", { class: "score" }, this.text, this.trouble)));
    studio.steps.set({ onUndo: () => this.travel("undo"), onRedo: () => this.travel("redo") });
    studio.live.on("score", (/** @type {any} */ message) => this.changedElsewhere(message));
    addEventListener("pagehide", () => this.flush());
    studio.live.on("again", () => this.save());
    studio.live.on("again", () => this.changedElsewhere({ name: this.name, seen: "" }));
    studio.keys.add([
      { keys: "ArrowRight", what: "Half a second onward", group: "Show", held: true, run: () => this.line.move(0.5) },
      { keys: "ArrowLeft", what: "Half a second back", group: "Show", held: true, run: () => this.line.move(-0.5) },
      { keys: "Shift+ArrowRight", what: "Five seconds onward", group: "Show", held: true, run: () => this.line.move(5) },
      { keys: "Shift+ArrowLeft", what: "Five seconds back", group: "Show", held: true, run: () => this.line.move(-5) },
      { keys: "Home", what: "To the start", group: "Show", run: () => this.line.move(-1e6) },
      { keys: "End", what: "To the end", group: "Show", run: () => this.line.move(1e6) },
      { keys: "Ctrl+S", what: "Save the score now", group: "Show", typing: true, run: () => this.save() },
    ]);
  }

  async refresh() {
    const shows = await api.get("/api/shows");
    this.shows = shows;
    if (!shows.some((/** @type {any} */ one) => one.name === this.name)) this.name = shows[0]?.name ?? "";
    redrawn(this.names, () => this.names.replaceChildren(...shows.map((/** @type {any} */ one) => el("button", {
      class: "button", type: "button", "aria-pressed": String(one.name === this.name), on: { click: () => this.choose(one.name) },
    }, one.name))));
    this.names.hidden = !shows.length;
    sessionStorage.setItem("limewash.show", this.name);
    this.drawActions();
    const show = shows.find((/** @type {any} */ one) => one.name === this.name);
    if (!show) {
      this.nothingYet();
    }
    this.text.disabled = !show?.has_score;
    this.text.placeholder = show ? "" : "The score comes here: what plays, where on the house, and when.";
    if (show?.has_score) {
      const state = await api.get(this.address);
      if (!this.unsaved || state.name !== this.held) this.take(state); // what is being typed stays
    } else {
      this.held = "";
      this.text.value = "";
      this.studio.steps.set({ undo: null, redo: null });
      this.line.take(null);
      if (show) this.words("A film from outside: it has no score.");
    }
  }

  /** No show: what to do first. */
  nothingYet() {
    if (this.studio.project.stages.trace.state === "done") {
      this.words("No show yet. Begin one: you get a score to change as you like, with music.",
        button({ icon: "plus", text: "Begin a show", kind: "main", run: () => this.begin() }));
    } else {
      this.words("A show needs the map: trace the house, then make the map here.", button({ text: "To the tracing", kind: "main", href: "/trace" }));
    }
  }

  drawActions() {
    const show = this.shows.find((/** @type {any} */ one) => one.name === this.name);
    const film = show?.film_bytes ? `/api/shows/${encodeURIComponent(this.name)}/film` : null;
    redrawn(this.actions, () => this.actions.replaceChildren(
      button({ icon: "target", text: "Make the map", label: "Carry the tracing to the projector again", run: () => startJob(this.studio, () => api.post("/api/map/make")) }),
      ...(show ? [
        button({ icon: "film", text: show.film_is_old ? "Render again" : "Render", kind: !film || show.film_is_old ? "main" : "", disabled: !show.has_score,
          run: () => startJob(this.studio, () => api.post(`/api/shows/${encodeURIComponent(this.name)}/render`)) }),
        button({ icon: "play", text: "Watch the film", disabled: !film, run: () => this.watch(film ?? "") }),
        button({ icon: "beam", text: "On the projector", disabled: !film, kind: film && !show.film_is_old ? "main" : "", run: () => this.studio.projector.show({ what: "show", name: this.name }) }),
      ] : [])));
  }

  /** @param {string} film */
  watch(film) {
    sheet(`${this.name}: the film in projector pixels`, el("div", { class: "plate" }, el("video", { src: film, controls: true, autoplay: true })),
      el("p", { class: "soft small" }, "Flashing light can trigger seizures in some people: watch it before your guests do, and warn them.")).classList.add("film-dialog");
  }

  /** Whether there is text that the studio has not taken. */
  get unsaved() {
    return !this.text.disabled && this.text.value !== this.saved;
  }

  /** Another show; what was typed here is saved first. @param {string} name */
  async choose(name) {
    await this.save();
    const goes = !this.unsaved || (await this.studio.ask({ title: "Leave the text unsaved?", text: this.trouble.textContent ?? "", yes: "Leave it" }));
    if (goes) {
      this.saved = this.text.value;
      this.name = name;
    }
    await this.refresh();
  }

  /** @param {any} state */
  take(state) {
    this.held = state.name;
    this.seen = state.seen;
    this.saved = state.text;
    replaceText(this.text, state.text);
    this.studio.steps.set({ undo: state.can_undo, redo: state.can_redo });
    this.fault(state.trouble);
    this.line.take(state);
    if (!state.trouble) this.look(this.line.at, true);
  }

  typed() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.save(), TYPED_MS);
  }

  get address() {
    return `/api/shows/${encodeURIComponent(this.name)}/score`;
  }

  save() {
    clearTimeout(this.timer);
    this.saving = this.saving.then(() => this.#save());
    return this.saving;
  }

  async #save() {
    if (this.text.disabled || this.text.value === this.saved) return;
    const { text, seen } = { text: this.text.value, seen: this.seen };
    try {
      const state = await api.put(this.address, { text, seen });
      const more = this.text.value !== text; // typed meanwhile: saved in its turn, from what was sent just now
      this.take(more ? { ...state, text: this.text.value } : state);
      this.saved = more ? text : state.text;
      if (more) this.seen = state.sent;
      this.drawActions();
    } catch (error) {
      if (/** @type {any} */ (error).status === 409) await this.clash(text);
      else this.fault(/** @type {Error} */ (error).message);
    }
  }

  /** Another window or program was quicker: neither text is lost without being asked. @param {string} text */
  async clash(text) {
    if (this.asking) return;
    this.asking = true;
    const mine = await this.studio.ask({ title: "The score was changed elsewhere", yes: "Keep this one", no: "Take the other",
      text: "What you typed here is not saved. Undo brings the other one back later." });
    this.asking = false;
    const other = await api.get(this.address);
    this.take(other);
    if (!mine) return;
    this.text.value = text;
    await this.#save();
  }

  /** @param {{name: string, seen: string}} message */
  async changedElsewhere({ name, seen }) {
    // What is being typed here stays; the server refuses it, and then it is asked.
    if (name !== this.name || seen === this.seen || this.text.disabled || this.text.value !== this.saved) return;
    this.take(await api.get(this.address));
    this.drawActions();
  }

  /** What was typed in the last moment before the page goes. */
  flush() {
    clearTimeout(this.timer);
    if (this.unsaved) api.put(this.address, { text: this.text.value, seen: this.seen }).catch(() => {});
  }

  /** @param {"undo" | "redo"} way */
  travel(way) {
    const done = this.save().then(() => this.#travel(way));
    this.saving = done;
    return done;
  }

  /** @param {"undo" | "redo"} way */
  async #travel(way) {
    if (this.unsaved) { // the text that could not be saved is itself the last step
      if (way === "undo") replaceText(this.text, this.saved);
      this.fault(way === "undo" ? "" : this.trouble.textContent ?? "");
      return;
    }
    try {
      this.take(await api.post(`${this.address}/${way}`, { seen: this.seen }));
      this.drawActions();
    } catch (error) {
      this.studio.say(/** @type {Error} */ (error).message, "care");
    }
  }

  /** @param {string} text */
  fault(text) {
    if (text && text !== this.trouble.textContent) this.studio.announce(text);
    this.trouble.textContent = text;
    this.text.setAttribute("aria-invalid", String(Boolean(text)));
  }

  /** A still at a time. @param {number} at @param {boolean} rest whether the hand has come to rest there */
  async look(at, rest) {
    if (!rest) return;
    const mine = ++this.asked;
    if (this.still.hidden) this.words("Drawing what the street will see …");
    const image = new Image();
    image.src = `/api/shows/${encodeURIComponent(this.name)}/still?at=${at.toFixed(3)}&${this.seen}`;
    try {
      await image.decode();
    } catch {
      if (mine === this.asked) this.words("No still: make the map above; if it is made, the score asks for something that this house has not.");
      return;
    }
    if (mine !== this.asked) return;
    this.still.src = image.src;
    this.still.hidden = false;
    this.plate.querySelector(".plate-words").replaceChildren();
  }

  /** @param {string} text @param {...Node} next what to do about it */
  words(text, ...next) {
    this.still.hidden = true;
    this.plate.querySelector(".plate-words").replaceChildren(el("p", {}, text), ...next);
  }

  async begin() {
    const name = el("input", { id: "show-name", value: this.shows.length ? "" : "evening", maxlength: 60, autocomplete: "off", required: true });
    const fault = el("p", { class: "fault", role: "alert" });
    const dialog = sheet("New show", el("form", { class: "stack", on: { submit: async (/** @type {Event} */ event) => {
      event.preventDefault();
      try {
        await api.post(`/api/shows/${encodeURIComponent(name.value.trim())}`);
        dialog.close();
        await this.choose(name.value.trim());
      } catch (error) {
        fault.textContent = /** @type {Error} */ (error).message;
      }
    } } }, el("div", { class: "field" }, el("label", { for: "show-name" }, "Its name"), name, fault),
    el("p", { class: "soft small" }, "It begins with a copy of the bundled score, without the cues that this house has nothing for."),
    el("div", { class: "row end" }, el("button", { class: "button main", type: "submit" }, icon("plus"), "Begin"))));
    dialog.classList.add("new-dialog");
    name.select();
  }
}

/** Another text, with the caret where it was among the words. @param {HTMLTextAreaElement} area @param {string} text */
function replaceText(area, text) {
  const before = area.value;
  if (before === text) return;
  const most = Math.min(before.length, text.length);
  let head = 0;
  while (head < most && before[head] === text[head]) head++;
  let tail = 0;
  while (tail < most - head && before[before.length - 1 - tail] === text[text.length - 1 - tail]) tail++;
  const carried = (/** @type {number} */ at) => (at <= head ? at : at >= before.length - tail ? at + text.length - before.length : head);
  const [start, end] = [carried(area.selectionStart), carried(area.selectionEnd)];
  area.value = text;
  area.setSelectionRange(start, end);
}
