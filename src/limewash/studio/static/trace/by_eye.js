// @ts-check
/**
 * Drawing on the house itself, without a photo: a cross-hair in the projector's light follows the mouse. The pointer is
 * caught by the page while it lasts, so that one can look at the house and not at the screen.
 */
import { button, el } from "../dom.js";


export class ByEye {
  #open = false;
  /** @type {[number, number]} */
  #moved = [0, 0];
  #wanted = false;
  #slow = false;
  #straight = false;
  /** @type {(() => void) | null} */
  #keysGone = null;
  #place = el("output", { class: "figures" }, "");

  /** @param {any} studio @param {import("./tool.js").Bench} bench */
  constructor(studio, bench) {
    this.studio = studio;
    this.bench = bench;
    this.start = button({ text: "Draw on the house", icon: "pen", label: "Draw with a cross-hair in the projector's light, looking at the house", run: () => this.toggle() });
    const look = (/** @type {object} */ change) => studio.api.put("/api/projector/look", { ...studio.projector.state.look, ...change }).catch((/** @type {Error} */ error) => studio.say(error.message, "care"));
    this.element = el("section", { class: "by-eye sheet", hidden: true, "aria-label": "Drawing on the house" },
      el("div", { class: "row" }, el("h2", {}, "Look at the house"), button({ icon: "close", label: "Stop drawing on the house (Esc)", kind: "end", run: () => this.toggle() })),
      el("p", { class: "small" }, "The mouse moves the cross-hair on the wall. ", el("b", {}, "Click"), " sets a point, ", el("kbd", {}, "Enter"), " closes the shape, ",
        el("kbd", {}, "O"), " ends an open line, ", el("kbd", {}, "Backspace"), " takes a point back."),
      el("dl", { class: "small by-eye-keys" },
        ...[["Shift", "slow"], ["Ctrl", "straight and parallel"], ["X", "middle of an arc"], ["H", "take hold of the nearest corner"], ["N", "next corner"], ["Arrows", "1 px, with Alt 0.25 px"], ["U", "loupe"]]
          .flatMap(([key, what]) => [el("dt", {}, el("kbd", {}, key)), el("dd", {}, what)])),
      el("div", { class: "cells" },
        el("label", { class: "cell" }, "Line, px", el("input", { type: "number", min: 1, max: 20, step: 0.5, value: 2, name: "line_px", on: { change: (/** @type {any} */ event) => look({ line_px: Number(event.target.value) }) } })),
        el("label", { class: "cell" }, "Colour", el("input", { type: "color", value: "#ffffff", name: "colour", on: { change: (/** @type {any} */ event) => look({ colour: event.target.value, by_kind: false }) } })),
        el("label", { class: "cell" }, "Cross, px", el("input", { type: "number", min: 4, max: 4000, value: 60, name: "reach_px", on: { change: (/** @type {any} */ event) => this.#act({ do: "tool", reach_px: Number(event.target.value) }) } })),
        el("label", { class: "cell" }, "Speed", el("input", { type: "number", min: 0.05, max: 5, step: 0.05, value: 1, name: "speed", on: { change: (/** @type {any} */ event) => this.#act({ do: "tool", speed: Number(event.target.value) }) } }))),
      el("p", { class: "row" }, this.#place, el("span", { class: "end" }, button({ text: "Catch the mouse", run: () => this.#catch() }))));
    studio.live.on("hand", (/** @type {any} */ message) => this.#show(message.hand));
    document.addEventListener("mousemove", (event) => this.#mouse(event));
    document.addEventListener("mousedown", (event) => {
      if (!this.#caught || event.button !== 0) return;
      event.preventDefault();
      this.#act({ do: "put" });
    });
  }

  get open() {
    return this.#open;
  }

  get #caught() {
    return this.#open && document.pointerLockElement === this.bench.board;
  }

  async toggle() {
    this.#open = !this.#open;
    this.element.hidden = !this.#open;
    this.start.setAttribute("aria-pressed", String(this.#open));
    if (!this.#open) {
      this.#keysGone?.();
      if (document.pointerLockElement) document.exitPointerLock();
      this.#act({ do: "stop" });
      return;
    }
    this.#keysGone = this.studio.keys.add(this.#keys());
    await this.studio.projector.show("tracing");
    this.#act({ do: "tool" });
    this.#catch();
  }

  #catch() {
    /** @type {any} */ (this.bench.board.requestPointerLock())?.catch?.(() => this.studio.say("The browser did not give the mouse; click once more", "care"));
  }

  #keys() {
    const group = "Drawing on the house";
    const nudge = (/** @type {number} */ dx, /** @type {number} */ dy) => ({ do: "nudge", dx, dy });
    const arrows = /** @type {const} */ ([["Left", -1, 0], ["Right", 1, 0], ["Up", 0, -1], ["Down", 0, 1]]).flatMap(([name, dx, dy]) => [
      { keys: `Arrow${name}`, what: `1 px ${name.toLowerCase()}`, group, run: () => this.#act(nudge(dx, dy)) },
      { keys: `Alt+Arrow${name}`, what: `0.25 px ${name.toLowerCase()}`, group, run: () => this.#act(nudge(dx / 4, dy / 4)) },
    ]);
    const act = (/** @type {string} */ keys, /** @type {string} */ what, /** @type {object} */ does) => ({ keys, what, group, run: () => this.#act(does) });
    const finish = (/** @type {boolean} */ closed) => this.#act({ do: "finish", closed, kind: this.bench.kind });
    return [
      { keys: "Escape", what: "Stop drawing on the house", group, run: () => this.toggle() },
      { keys: "Enter", what: "Close the shape", group, run: () => finish(true) },
      { keys: "O", what: "End an open line", group, run: () => finish(false) },
      act("Space", "Set a point", { do: "put" }),
      act("X", "Set the middle of an arc", { do: "put", bend: true }),
      act("Backspace", "Take the last point back", { do: "back" }),
      act("H", "Take hold of the nearest corner", { do: "hold" }),
      act("N", "Next corner", { do: "next" }),
      act("Shift+N", "Previous corner", { do: "previous" }),
      act("L", "Let go", { do: "let-go" }),
      { keys: "U", what: "Loupe", group, run: () => this.#act({ do: "tool", loupe: (this.#loupe = !this.#loupe) }) },
      ...arrows,
    ];
  }

  #loupe = false;

  /** @param {MouseEvent} event */
  #mouse(event) {
    if (!this.#caught) return;
    this.#moved = [this.#moved[0] + event.movementX, this.#moved[1] + event.movementY];
    this.#slow = event.shiftKey;
    this.#straight = event.ctrlKey;
    if (this.#wanted) return;
    this.#wanted = true;
    requestAnimationFrame(() => {
      this.#wanted = false;
      const [dx, dy] = this.#moved;
      this.#moved = [0, 0];
      this.#act({ do: "move", dx, dy, slow: this.#slow, straight: this.#straight });
    });
  }

  /** @param {object} act */
  #act(act) {
    this.studio.live.send({ type: "hand", act });
  }

  /** @param {any} hand */
  #show(hand) {
    const points = hand.points.length;
    this.#place.textContent = `${hand.at[0].toFixed(2)}, ${hand.at[1].toFixed(2)} px${points ? `, ${points} ${points > 1 ? "points" : "point"}` : ""}${hand.holding ? `, holds ${hand.holding}` : ""}`;
  }
}
