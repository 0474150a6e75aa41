// @ts-check
/** The score as a time line: a row for each cue, bars of the music as thin lines, a cursor to look at any time. */

import { clamp, el, svg } from "../dom.js";

const ROW = 18;
const HEAD = 20;
const WIDTH = 1000;

export class TimeLine {
  at = -1;
  /** @type {any} */
  #state = null;

  /** @param {(at: number, rest: boolean) => void} moved */
  constructor(moved) {
    this.moved = moved;
    this.time = el("span", { class: "time-now figures" });
    this.holder = el("div", { class: "time-rows" });
    this.element = el("div", { class: "time-line", tabindex: 0, role: "slider", "aria-label": "Time in the show", "aria-valuemin": 0, hidden: true }, this.holder, this.time);
    this.element.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => this.#drag(event));
  }

  /** @param {any} state */
  take(state) {
    this.#state = state?.cues.length ? state : null;
    // A look into the show tells more than its dark first moment.
    if (this.#state) this.at = this.at < 0 ? state.length_s * 0.35 : clamp(this.at, 0, state.length_s);
    this.#draw();
  }

  /** @param {number} seconds */
  move(seconds) {
    if (!this.#state) return;
    this.#go(this.at + seconds, true);
  }

  /** @param {PointerEvent} event */
  #drag(event) {
    if (!this.#state) return;
    const box = this.holder.getBoundingClientRect();
    const go = (/** @type {PointerEvent} */ one, /** @type {boolean} */ rest) =>
      this.#go(((one.clientX - box.left) / box.width) * this.#state.length_s, rest);
    this.element.setPointerCapture(event.pointerId);
    go(event, false);
    const onMove = (/** @type {PointerEvent} */ one) => go(one, false);
    this.element.addEventListener("pointermove", onMove);
    this.element.addEventListener("pointerup", (/** @type {PointerEvent} */ one) => {
      this.element.removeEventListener("pointermove", onMove);
      go(one, true);
    }, { once: true });
  }

  /** @param {number} at @param {boolean} rest */
  #go(at, rest) {
    this.at = clamp(at, 0, Math.max(this.#state.length_s - 0.05, 0));
    this.#place();
    this.moved(this.at, rest);
  }

  #place() {
    const x = this.#state ? (this.at / this.#state.length_s) * WIDTH : 0;
    this.holder.querySelector(".cursor")?.setAttribute("transform", `translate(${x} 0)`);
    this.time.textContent = this.#state ? `${this.at.toFixed(1)} s` : "";
    this.element.setAttribute("aria-valuenow", this.at.toFixed(1));
    this.element.setAttribute("aria-valuetext", `${this.at.toFixed(1)} seconds`);
  }

  #draw() {
    const state = this.#state;
    this.element.hidden = !state;
    if (!state) {
      this.holder.replaceChildren();
      return;
    }
    this.element.setAttribute("aria-valuemax", state.length_s);
    const height = HEAD + state.cues.length * ROW + 4;
    const x = (/** @type {number} */ t) => (t / state.length_s) * WIDTH;
    const step = [1, 2, 5, 10, 15, 30, 60, 120, 300].find((one) => state.length_s / one <= 14) ?? 600;
    const drawing = svg("svg", { viewBox: `0 0 ${WIDTH} ${height}`, preserveAspectRatio: "none", style: `height: ${height}px` });
    for (const bar of state.bars_s) drawing.append(svg("path", { class: "bar-line", d: `M${x(bar)} ${HEAD}V${height}` }));
    const rows = el("div", { class: "cue-labels" });
    state.cues.forEach((/** @type {any} */ cue, /** @type {number} */ n) => {
      const [a, b, top] = [x(cue.start_s), x(Math.min(cue.start_s + cue.length_s, state.length_s)), HEAD + n * ROW + 3];
      const [p, q] = [Math.min(a + x(cue.fade_in_s), b), Math.max(b - x(cue.fade_out_s), a)];
      drawing.append(svg("path", { class: "cue", d: `M${a} ${top + ROW - 6}L${p} ${top}H${Math.max(p, q)}L${b} ${top + ROW - 6}Z` }));
      // Late cues are named towards their end: there is no room after it.
      const beside = a < 0.5 * WIDTH ? `left: ${(a / WIDTH) * 100}%; max-width: ${(1 - a / WIDTH) * 100}%` : `right: ${(1 - b / WIDTH) * 100}%; max-width: ${(b / WIDTH) * 100}%`;
      rows.append(el("span", { style: `top: ${top - 1}px; ${beside}` }, `${cue.effect} · ${cue.where.join(", ")}`));
    });
    for (let t = 0; t <= 0.92 * state.length_s; t += step) rows.append(el("span", { class: "tick", style: `left: ${(t / state.length_s) * 100}%` }, `${t}`));
    drawing.append(svg("g", { class: "cursor" }, svg("path", { d: `M0 0V${height}` })));
    this.holder.replaceChildren(drawing, rows);
    this.#place();
  }
}
