// @ts-check
/** The score as a time line: a row for each cue, bars of the music as thin lines, a cursor to look at any time. */

import { clamp, el, svg } from "../dom.js";

const ROW = 18;
const HEAD = 20;
const WIDTH = 1000;
/** Room for the figure of one tick, and for the time at the end. [px] */
const TICK_PX = 38;
const NOW_PX = 64;

export class TimeLine {
  at = -1;
  /** @type {any} */
  #state = null;

  /** @param {(at: number, rest: boolean) => void} moved */
  constructor(moved) {
    this.moved = moved;
    this.time = el("span", { class: "time-now figures" });
    this.holder = el("div", { class: "time-rows" });
    this.names = el("ol", { class: "cue-names", "aria-label": "Cues" });
    this.slider = el("div", { class: "time-slider", tabindex: 0, role: "slider", "aria-label": "Time in the show", "aria-valuemin": 0, "aria-valuenow": 0 }, this.holder, this.time);
    this.element = el("div", { class: "time-line", hidden: true }, this.names, this.slider);
    this.slider.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => this.#drag(event));
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
    this.slider.setPointerCapture(event.pointerId);
    go(event, false);
    const onMove = (/** @type {PointerEvent} */ one) => go(one, false);
    this.slider.addEventListener("pointermove", onMove);
    this.slider.addEventListener("pointerup", (/** @type {PointerEvent} */ one) => {
      this.slider.removeEventListener("pointermove", onMove);
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
    this.slider.setAttribute("aria-valuenow", this.at.toFixed(1));
    this.slider.setAttribute("aria-valuetext", `${this.at.toFixed(1)} seconds`);
  }

  #draw() {
    const state = this.#state;
    this.element.hidden = !state;
    if (!state) {
      this.holder.replaceChildren();
      return;
    }
    this.slider.setAttribute("aria-valuemax", state.length_s);
    const height = HEAD + state.cues.length * ROW + 4;
    const x = (/** @type {number} */ t) => (t / state.length_s) * WIDTH;
    const width = this.holder.clientWidth || WIDTH;
    const step = [1, 2, 5, 10, 15, 30, 60, 120, 300].find((one) => (one / state.length_s) * width >= TICK_PX) ?? 600;
    const drawing = svg("svg", { viewBox: `0 0 ${WIDTH} ${height}`, preserveAspectRatio: "none", style: `height: ${height}px` });
    for (const bar of state.bars_s) drawing.append(svg("path", { class: "bar-line", d: `M${x(bar)} ${HEAD}V${height}` }));
    const ticks = el("div", { class: "ticks" });
    for (let t = 0; (1 - t / state.length_s) * width > NOW_PX; t += step) ticks.append(el("span", { style: `left: ${(t / state.length_s) * 100}%` }, `${t}`));
    state.cues.forEach((/** @type {any} */ cue, /** @type {number} */ n) => {
      const [a, b, top] = [x(cue.start_s), x(Math.min(cue.start_s + cue.length_s, state.length_s)), HEAD + n * ROW + 3];
      const [p, q] = [Math.min(a + x(cue.fade_in_s), b), Math.max(b - x(cue.fade_out_s), a)];
      drawing.append(svg("path", { class: "row-line", d: `M0 ${top + ROW - 5}H${WIDTH}` }),
        svg("path", { class: "cue", d: `M${a} ${top + ROW - 6}L${p} ${top}H${Math.max(p, q)}L${b} ${top + ROW - 6}Z` }));
    });
    this.names.replaceChildren(...state.cues.map((/** @type {any} */ cue) => {
      const where = cue.where.join(", ");
      return el("li", { title: `${cue.effect}, ${where}` }, cue.effect.replaceAll("-", " "), el("span", { class: "soft" }, `  ${where}`));
    }));
    drawing.append(svg("g", { class: "cursor" }, svg("path", { d: `M0 0V${height}` })));
    this.holder.replaceChildren(drawing, ticks);
    this.#place();
  }
}
