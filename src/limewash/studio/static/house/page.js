// @ts-check
/** Drawing on the house itself, through the projector, while looking at it: the mouse is a track pad, the light a pen. */

import * as api from "../api.js";
import { button, el } from "../dom.js";
import { lookControls, phoneControls, projectorHealth } from "../projector/controls.js";
import { Plate } from "../projector/plate.js";
import { KINDS } from "../trace/store.js";

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = "On the house - Limewash";
  if (!studio.project?.scan) {
    throw new api.Refused(422, { message: "Nothing to draw on yet: scan the house, or begin by eye without a camera. Both are on the Scan page.",
      next: { text: "To the scan", href: "/scan" } });
  }
  root.classList.add("still");
  const page = new HandPage(studio, await api.get("/api/hand"), await api.get("/api/map/preview"));
  root.append(page.element);
  page.begin();
}

class HandPage {
  /** @param {any} studio @param {any} hand @param {any} map */
  constructor(studio, hand, map) {
    this.studio = studio;
    this.hand = hand;
    this.paths = map.paths;
    /** What was read out last. @type {string | undefined} */
    this.heard = undefined;
    /** Name and words of a path that is being ended. @type {{title: string, words: string} | null} */
    this.ending = null;
    this.plate = new Plate(map.size, (context, plate) => this.paint(context, plate));
    this.plate.element.setAttribute("aria-label", "Track pad: the projector's picture in small");
    this.plate.element.setAttribute("aria-description", "Arrow keys move the cross-hair, Space puts a point, Enter closes the path. Question mark: all keys.");
    this.plate.element.append(el("p", { class: "pad-words" }, "Click to take hold of the mouse, Esc lets go; or arrow keys and Space."));
    this.kind = el("select", { id: "hand-kind" }, ...KINDS.map(([kind, words]) => el("option", { value: kind }, words)));
    this.name = el("input", { id: "hand-name", placeholder: "not given", autocomplete: "off", maxlength: 200 });
    this.loupe = el("input", { type: "checkbox", id: "loupe", on: { change: () => this.act({ do: "tool", loupe: this.loupe.checked }) } });
    this.speed = el("input", { type: "range", id: "speed", min: 0.1, max: 2, step: 0.1, on: { input: () => this.act({ do: "tool", speed: Number(this.speed.value) }) } });
    this.reach = el("input", { type: "range", id: "reach", min: 10, max: 1200, step: 10, on: { input: () => this.act({ do: "tool", reach_px: Number(this.reach.value) }) } });
    this.where = el("span", { class: "number" });
    this.element = el("div", { class: "bench fixed hand" }, this.tools(), el("div", { class: "board" },
      el("div", { class: "row" },
        button({ icon: "beam", text: "Show it on the house", kind: "main", run: () => studio.projector.show("tracing") }),
        phoneControls(studio), el("span", { class: "grow" }), el("span", { class: "row" }, el("span", { class: "soft small" }, "cross-hair at"), this.where)),
      this.plate.element));
  }

  begin() {
    const { live, steps } = this.studio;
    this.take(this.hand);
    live.on("hand", (/** @type {any} */ message) => this.take(message.hand));
    live.on("refused", () => { this.ending = null; });
    live.on("drag", (/** @type {any} */ message) => {
      this.paths = this.paths.map((/** @type {any} */ path) => (path.id === message.carried.id ? message.carried : path));
      this.plate.draw();
    });
    live.on("tracing", (/** @type {any} */ message) => this.changed(message.state));
    for (const what of ["again", "scan"]) live.on(what, async () => {
      this.ending = null; // it may have been lost on the way
      this.take(await api.get("/api/hand"));
      await this.changed(await api.get("/api/tracing"));
    });
    api.get("/api/tracing").then((state) => this.steps(state));
    steps.set({ onUndo: () => this.travel("undo"), onRedo: () => this.travel("redo") });
    this.keys();
    this.mouse();
    this.plate.keepKeys(this.element);
    this.plate.element.focus({ preventScroll: true });
  }

  tools() {
    return el("div", { class: "tools" },
      projectorHealth(this.studio),
      el("section", { class: "stack" }, el("h3", {}, "What is drawn"),
        el("div", { class: "pair" }, el("div", { class: "field" }, el("label", { for: "hand-kind" }, "Kind"), this.kind),
          el("div", { class: "field" }, el("label", { for: "hand-name" }, "Name"), this.name)),
        el("div", { class: "row" }, button({ icon: "done", text: "Close it", label: "End the path as an area (Enter)", run: () => this.finish(true) }),
          button({ text: "Leave it open", label: "End the path as an outline (Shift+Enter)", run: () => this.finish(false) }))),
      el("section", { class: "stack" }, el("h3", {}, "Light"), lookControls(this.studio),
        el("label", { class: "check" }, this.loupe, "Loupe beside the cross-hair"),
        el("div", { class: "field" }, el("label", { for: "reach" }, "Reach of the cross-hair"), this.reach),
        el("div", { class: "field" }, el("label", { for: "speed" }, "Pointer speed"), this.speed)),
      el("dl", { class: "keys-row" }, ...[
        ["Space", "put a point"], ["A", "put the middle of an arc"], ["Enter", "close the path"], ["Shift", "held with the mouse: slow"], ["S", "held with the mouse: straight or parallel"],
        ["H", "hold the nearest corner"], ["N", "next corner"], ["← ↑ → ↓", "one pixel; Shift: ten; Alt: a quarter"], ["Backspace", "take the last point back"],
      ].flatMap(([key, what]) => [el("dt", {}, ...key.split(" ").map((one) => el("kbd", {}, one))), el("dd", {}, what)])));
  }

  keys() {
    const group = "On the house";
    const nudge = (/** @type {number} */ dx, /** @type {number} */ dy) => this.act({ do: "nudge", dx, dy });
    const arrows = [["ArrowLeft", -1, 0], ["ArrowUp", 0, -1], ["ArrowRight", 1, 0], ["ArrowDown", 0, 1]];
    this.studio.keys.add([
      { keys: "Space", what: "Put a point", group, run: () => this.act({ do: "put" }) },
      { keys: "A", what: "Put the middle of an arc", group, run: () => this.act({ do: "put", bend: true }) },
      { keys: "Enter", what: "Close the path", group, run: () => this.finish(true) },
      { keys: "Shift+Enter", what: "End the path open", group, run: () => this.finish(false) },
      { keys: "H", what: "Take hold of the nearest corner", group, run: () => this.act({ do: "hold" }) },
      { keys: "N", what: "Next corner", group, run: () => this.act({ do: "next" }) },
      { keys: "Shift+N", what: "Previous corner", group, run: () => this.act({ do: "previous" }) },
      { keys: "Backspace", what: "Take the last point back", group, run: () => this.act({ do: "back" }) },
      { keys: "Escape", what: "Let go, or drop what is being drawn", group, run: () => this.act({ do: this.hand.holding ? "let-go" : "stop" }) },
      ...arrows.map(([key, dx, dy]) => ({ keys: `${key}`, what: "Move by one pixel", group, held: true, run: () => nudge(Number(dx), Number(dy)) })),
      ...arrows.map(([key, dx, dy]) => ({ keys: `Shift+${key}`, what: "Move by ten pixels", group, held: true, run: () => nudge(Number(dx) * 10, Number(dy) * 10) })),
      ...arrows.map(([key, dx, dy]) => ({ keys: `Alt+${key}`, what: "Move by a quarter of a pixel", group, held: true, run: () => nudge(Number(dx) / 4, Number(dy) / 4) })),
    ]);
  }

  mouse() {
    const pad = this.plate.element;
    let straight = false;
    addEventListener("keydown", (event) => { if (event.key.toLowerCase() === "s") straight = true; });
    addEventListener("keyup", (event) => { if (event.key.toLowerCase() === "s") straight = false; });
    addEventListener("blur", () => { straight = false; }); // let go elsewhere: no keyup comes
    pad.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => {
      if (event.button !== 0) return;
      pad.focus();
      if (document.pointerLockElement !== pad) pad.requestPointerLock?.()?.catch?.(() => {});
      else this.act({ do: "put" });
    });
    pad.addEventListener("pointermove", (/** @type {PointerEvent} */ event) => {
      if (document.pointerLockElement !== pad) return;
      this.act({ do: "move", dx: event.movementX, dy: event.movementY, slow: event.shiftKey, straight });
    });
  }

  /** Through the live channel: as quick as the hand. @param {object} act */
  act(act) {
    this.studio.live.send({ type: "hand", act });
  }

  /** On the same way as the points, so that none comes after it. @param {boolean} closed */
  finish(closed) {
    const title = this.name.value;
    this.ending = { title, words: `${title || this.kind.selectedOptions[0].text} is drawn` };
    this.act({ do: "finish", closed, kind: this.kind.value, title });
  }

  /** The path is in the tracing: no point is left in the hand. */
  ended() {
    if (!this.ending || this.hand.points.length) return;
    this.studio.announce(this.ending.words);
    if (this.name.value === this.ending.title) this.name.value = "";
    this.ending = null;
    this.plate.element.focus();
  }

  /** @param {any} hand */
  take(hand) {
    this.hand = hand;
    this.where.textContent = `${hand.at[0].toFixed(2)}, ${hand.at[1].toFixed(2)}`;
    this.hear();
    this.ended();
    this.loupe.checked = hand.loupe;
    if (document.activeElement !== this.speed) this.speed.value = hand.speed;
    if (document.activeElement !== this.reach) this.reach.value = hand.reach_px;
    this.plate.draw();
  }

  /** Where the cross-hair came to rest, and what it has set or holds. */
  hear() {
    const { hand } = this;
    const what = hand.holding ? `holds a corner of ${hand.holding}` : hand.points.length ? `${hand.points.length} points set` : "";
    const words = [`${this.where.textContent} px`, what].filter(Boolean).join(", ");
    if (this.heard !== undefined && words !== this.heard) this.studio.announce(words);
    this.heard = words;
  }

  /** @param {any} state */
  async changed(state) {
    this.steps(state);
    this.paths = (await api.get("/api/map/preview")).paths;
    this.plate.draw();
  }

  /** @param {any} state */
  steps(state) {
    this.revision = state.revision;
    this.studio.steps.set({ undo: state.can_undo, redo: state.can_redo });
  }

  /** @param {"undo" | "redo"} way */
  async travel(way) {
    if (way === "undo" && this.hand.points.length) return this.act({ do: "back" });
    try {
      this.steps(await api.post(`/api/tracing/${way}`, { revision: this.revision }));
    } catch (error) {
      this.studio.say(/** @type {Error} */ (error).message, "care");
    }
  }

  /** @param {CanvasRenderingContext2D} context @param {Plate} plate */
  paint(context, plate) {
    plate.lines(context, this.paths);
    plate.lines(context, this.hand.lines.map((/** @type {any} */ points) => ({ points, closed: false })), { colour: "#ffe7b8", width: 2 });
    for (const point of this.hand.points) plate.ring(context, point, 4, "#ffe7b8");
    if (this.hand.held) plate.ring(context, this.hand.held, 10, "#ffe7b8");
    plate.cross(context, this.hand.at, 26, "#ffe7b8");
  }
}
