// @ts-check
/** Settling: check points of the map, moved on the house until they sit. */

import * as api from "../api.js";
import { button, clamp, el, icon, redrawn } from "../dom.js";
import { lookControls, phoneControls, projectorHealth } from "../projector/controls.js";
import { Plate } from "../projector/plate.js";

const METHODS = [
  ["smooth", "Smooth", "A thin plate through every point"],
  ["parts", "By parts", "A plane for each named part, a thin plate between"],
  ["flat", "One plane", "One perspective for all; more than four points are met in the mean"],
];
const PICK_PX = 16;
/** One press of an arrow key while a corner is looked for. [screen px] */
const LOOK_PX = 6;

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = "Settle - Limewash";
  if (!studio.project?.scan) {
    throw new api.Refused(422, { message: "Nothing to settle yet: scan the house, or begin by eye without a camera. Both are on the Scan page.",
      next: { text: "To the scan", href: "/scan" } });
  }
  root.classList.add("still");
  const page = new SettlePage(studio, await api.get("/api/settle"));
  root.append(page.element);
  page.begin();
}

class SettlePage {
  /** @param {any} studio @param {any} state */
  constructor(studio, state) {
    this.studio = studio;
    this.state = state;
    this.before = true;
    /** What was read out last. @type {string | undefined} */
    this.heard = undefined;
    /** Where the keys look for a corner, in projector pixels. @type {[number, number] | null} */
    this.looking = null;
    this.plate = new Plate(state.size, (context, plate) => this.paint(context, plate));
    this.plate.element.setAttribute("aria-label", "The map in projector pixels; click a corner to make it a check point");
    this.plate.element.setAttribute("aria-description", "A looks for a corner with the arrow keys, Enter makes it a check point. Question mark: all keys.");
    this.list = el("ul", { class: "points", "aria-label": "Check points" });
    this.name = el("input", { id: "point-name", autocomplete: "off", maxlength: 60, on: { change: () => this.change({ name: this.name.value }) } });
    this.part = el("input", { id: "point-part", autocomplete: "off", maxlength: 60, placeholder: "not given", on: { change: () => this.change({ part: this.part.value }) } });
    this.methods = el("div", { class: "segmented", role: "group", "aria-label": "How to settle" }, ...METHODS.map(([name, title, hint]) =>
      el("button", { class: "button", type: "button", title: hint, on: { click: () => this.send(() => api.put("/api/settle/method", { revision: this.state.revision, method: name })) } }, title)));
    this.trouble = el("p", { class: "fault" });
    this.kept = el("span", { class: "soft small" });
    this.keepButton = button({ icon: "done", text: "Keep", kind: "main", run: () => this.keep() });
    this.backButton = button({ text: "Use the scan as filmed", run: () => this.send(() => api.post("/api/settle/let-go")) });
    const show = el("input", { type: "checkbox", id: "before", checked: true, on: { change: () => { this.before = show.checked; this.plate.draw(); } } });
    this.element = el("div", { class: "bench fixed settle" }, this.tools(),
      el("div", { class: "board" },
        el("div", { class: "row" },
          button({ icon: "beam", text: "Show it on the house", run: () => studio.projector.show("settle") }),
          phoneControls(studio), el("span", { class: "grow" }),
          el("label", { class: "check" }, show, "Before"),
          button({ icon: "save", text: "Picture", label: "Before and after as a picture", href: "/api/settle/picture" }), this.kept, this.backButton, this.keepButton),
        this.plate.element));
  }

  tools() {
    const nudge = (/** @type {string} */ sign, /** @type {number} */ dx, /** @type {number} */ dy) => el("button", {
      class: "button", type: "button", "aria-label": `Move ${sign === "↑" ? "up" : sign === "↓" ? "down" : sign === "←" ? "left" : "right"} by one pixel`, on: { click: (/** @type {MouseEvent} */ event) => this.nudge(dx, dy, event) } }, sign);
    const gap = () => el("span");
    return el("div", { class: "tools" },
      projectorHealth(this.studio),
      el("section", { class: "stack" }, el("h3", {}, "Check points"),
        el("p", { class: "soft small" }, "Click a corner of the map, then move it until it sits on the house. The scan itself is never changed."),
        el("div", {}, button({ icon: "plus", text: "Look for a corner", label: "By keys: arrows go over the map, Enter takes the nearest corner (A)", run: () => this.look() })),
        this.list,
        el("div", { class: "pair" }, el("div", { class: "field" }, el("label", { for: "point-name" }, "Name"), this.name),
          el("div", { class: "field" }, el("label", { for: "point-part", title: "Points of one flat part make one plane" }, "Flat part"), this.part)),
        el("div", { class: "nudges" }, gap(), nudge("↑", 0, -1), gap(), nudge("←", -1, 0), gap(), nudge("→", 1, 0), gap(), nudge("↓", 0, 1), gap()),
        el("p", { class: "soft small" }, "One pixel; with Shift ten, with Alt a quarter. The arrow keys do the same.")),
      el("section", { class: "stack" }, el("h3", {}, "How to settle"), this.methods, this.trouble),
      el("section", { class: "stack" }, el("h3", {}, "Light"), lookControls(this.studio)));
  }

  begin() {
    const { live, steps, keys } = this.studio;
    live.on("settle", (/** @type {any} */ message) => {
      if (message.settle.revision >= this.state.revision) this.take({ before: this.state.before, ...message.settle });
    });
    for (const what of ["again", "tracing"]) live.on(what, () => this.send(() => api.get("/api/settle")));
    steps.set({ onUndo: () => this.send(() => api.post("/api/settle/undo", { revision: this.state.revision })),
      onRedo: () => this.send(() => api.post("/api/settle/redo", { revision: this.state.revision })) });
    const group = "Settle";
    keys.add([
      ...[["ArrowLeft", -1, 0], ["ArrowUp", 0, -1], ["ArrowRight", 1, 0], ["ArrowDown", 0, 1]].flatMap(([key, dx, dy]) => [
        { keys: `${key}`, what: "Move the check point by one pixel", group, held: true, run: () => this.arrow(Number(dx), Number(dy)) },
        { keys: `Shift+${key}`, what: "By ten", group, held: true, run: () => this.arrow(Number(dx) * 10, Number(dy) * 10) },
        { keys: `Alt+${key}`, what: "By a quarter", group, held: true, run: () => this.arrow(Number(dx) / 4, Number(dy) / 4) },
      ]),
      { keys: "A", what: "Look for a corner with the arrow keys", group, run: () => this.look() },
      { keys: "Enter", what: "Make the ringed corner a check point", group, run: () => this.takeLooked() },
      { keys: "Escape", what: "Look no more", group, run: () => this.lookNoMore() },
      { keys: "N", what: "Next check point", group, run: () => this.step(1) },
      { keys: "P", what: "Previous check point", group, run: () => this.step(-1) },
      { keys: "Delete", what: "Take the check point out", group, run: () => this.state.chosen && this.remove(this.state.chosen) },
    ]);
    this.mouse();
    this.plate.keepKeys(this.element);
    this.take(this.state);
  }

  /** @param {number} dx @param {number} dy @param {MouseEvent} event */
  nudge(dx, dy, event) {
    const times = event.shiftKey ? 10 : event.altKey ? 0.25 : 1;
    this.move(dx * times, dy * times);
  }

  /** Begin to look for a corner by keys: at the point in hand, or in the middle. */
  look() {
    const chosen = this.state.points.find((/** @type {any} */ point) => point.name === this.state.chosen);
    this.looking ??= chosen?.house_px ?? [this.state.size[0] / 2, this.state.size[1] / 2];
    this.plate.element.focus({ preventScroll: true });
    this.studio.say("Arrow keys go over the map, Enter takes the ringed corner, Esc ends.");
    this.plate.draw();
  }

  lookNoMore() {
    this.looking = null;
    this.plate.draw();
  }

  /** @param {number} dx @param {number} dy */
  arrow(dx, dy) {
    if (!this.looking) return this.move(dx, dy);
    const step = LOOK_PX / this.plate.scale;
    this.looking = [clamp(this.looking[0] + dx * step, 0, this.state.size[0] - 1), clamp(this.looking[1] + dy * step, 0, this.state.size[1] - 1)];
    this.plate.draw();
    const found = this.corner(this.looking, Infinity);
    this.studio.announce(found ? `Corner at ${found.at[0].toFixed(0)}, ${found.at[1].toFixed(0)}` : "The map has no corners");
    return undefined;
  }

  takeLooked() {
    const found = this.looking && this.corner(this.looking, Infinity);
    this.lookNoMore();
    if (found) this.add(found);
  }

  /** @param {{map: [number, number]}} corner */
  add(corner) {
    return this.send(() => api.post("/api/settle/points", { revision: this.state.revision, map_px: corner.map }));
  }

  /** The map's nearest corner. @param {[number, number]} at @param {number} [most_px] screen pixels */
  corner(at, most_px) {
    return this.nearest(this.state.paths.flatMap((/** @type {any} */ path, /** @type {number} */ p) =>
      path.points.map((/** @type {any} */ one, /** @type {number} */ n) => ({ at: one, map: this.state.before[p].points[n] }))), at, most_px);
  }

  /** @param {number} dx @param {number} dy */
  move(dx, dy) {
    if (!this.state.chosen) return this.studio.say("Choose a check point first: click a corner of the map.", "care");
    return this.change({ by_px: [dx, dy] });
  }

  /** @param {object} change */
  change(change) {
    if (!this.state.chosen) return undefined;
    return this.send(() => api.put(`/api/settle/points/${encodeURIComponent(this.state.chosen)}`, { revision: this.state.revision, ...change }));
  }

  /** @param {string} name */
  remove(name) {
    return this.send(() => api.del(`/api/settle/points/${encodeURIComponent(name)}?revision=${this.state.revision}`));
  }

  /** @param {number} by */
  step(by) {
    const names = this.state.points.map((/** @type {any} */ point) => point.name);
    if (names.length) this.choose(names[(names.indexOf(this.state.chosen) + by + names.length) % names.length]);
  }

  /** @param {string} name */
  choose(name) {
    return this.send(() => api.put("/api/settle/chosen", { name }));
  }

  async keep() {
    this.keepButton.disabled = true;
    await this.send(() => api.post("/api/settle/keep"));
    this.studio.say("Kept as a scan of its own; the filmed one is untouched. Make the map again on the Show page.");
  }

  /** One change after the other, so that none is refused for being late. @param {() => Promise<any>} request */
  send(request) {
    this.queue = (this.queue ?? Promise.resolve()).then(async () => {
      try {
        this.take(await request());
      } catch (error) {
        this.studio.say(/** @type {Error} */ (error).message, "care");
        if (/** @type {any} */ (error).status === 409) this.take(await api.get("/api/settle"));
      }
    });
    return this.queue;
  }

  /** @param {any} state */
  take(state) {
    this.state = state;
    this.studio.steps.set({ undo: state.can_undo, redo: state.can_redo });
    redrawn(this.list, () => this.list.replaceChildren(...state.points.map((/** @type {any} */ point) => this.row(point)),
      ...(state.points.length ? [] : [el("li", { class: "empty small" }, icon("target"), "No check point yet. Show the map on the house, then click a corner that does not sit.")])));
    const chosen = state.points.find((/** @type {any} */ point) => point.name === state.chosen);
    for (const [input, value] of [[this.name, chosen?.name], [this.part, chosen?.part]]) {
      input.disabled = !chosen;
      if (document.activeElement !== input) input.value = value ?? "";
    }
    [...this.methods.children].forEach((one, n) => one.setAttribute("aria-pressed", String(METHODS[n][0] === state.method)));
    if (this.trouble.textContent !== state.trouble) this.studio.announce(state.trouble);
    this.trouble.textContent = state.trouble;
    this.hear(chosen);
    this.keepButton.disabled = !state.points.length || Boolean(state.trouble) || (state.kept && state.settled);
    this.backButton.hidden = !state.settled;
    this.kept.textContent = state.settled ? (state.kept ? "kept and in use" : "changed since it was kept") : "";
    this.plate.draw();
  }

  /** Which point is in hand and where it is by now. @param {any} chosen */
  hear(chosen) {
    const words = chosen ? `${chosen.name}, moved by ${movedPx(chosen).toFixed(2)} pixels, at ${chosen.house_px.map((/** @type {number} */ one) => one.toFixed(2)).join(", ")}` : "No check point in hand";
    if (this.heard !== undefined && words !== this.heard) this.studio.announce(words);
    this.heard = words;
  }

  /** @param {any} point */
  row(point) {
    const moved = movedPx(point);
    return el("li", { class: "point", "aria-current": String(point.name === this.state.chosen) },
      el("button", { class: "point-name", type: "button", "aria-pressed": String(point.name === this.state.chosen), on: { click: () => this.choose(point.name) } },
        el("span", { class: "grow" }, point.name, point.part ? el("span", { class: "soft" }, `  ${point.part}`) : null),
        el("span", { class: "number soft", title: "How far it was moved, and what is left over" }, `${moved.toFixed(1)} px${point.left_over_px > 0.05 ? ` (${point.left_over_px.toFixed(1)} left)` : ""}`)),
      button({ icon: "close", label: `Take out ${point.name}`, run: () => this.remove(point.name) }));
  }

  mouse() {
    const pad = this.plate.element;
    /** @type {{name: string, from: [number, number], start: [number, number], hold: string, moving: boolean} | null} */
    let held = null;
    /** @type {[number, number] | null} where the hand is by now, while the way there is being asked */
    let newest = null;
    let asking = false;
    const follow = async () => {
      if (asking) return;
      asking = true;
      while (held && newest) {
        const { name, hold } = held;
        const to_px = newest;
        newest = null;
        await this.send(() => api.put(`/api/settle/points/${encodeURIComponent(name)}`, { revision: this.state.revision, to_px, hold }));
      }
      asking = false;
    };
    pad.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => {
      const at = this.plate.at(event);
      const point = this.nearest(this.state.points.map((/** @type {any} */ one) => ({ ...one, at: one.house_px })), at);
      if (point) {
        held = { name: point.name, from: at, start: point.house_px, hold: String(event.timeStamp), moving: false };
        pad.setPointerCapture(event.pointerId);
        this.choose(point.name);
        return;
      }
      this.looking = null;
      const corner = this.corner(at);
      if (corner) this.add(corner);
      else this.studio.say("Click nearer to a line of the map.");
    });
    // Seen on the house while it is dragged; the whole way is one step.
    pad.addEventListener("pointermove", (/** @type {PointerEvent} */ event) => {
      if (!held) return;
      const at = this.plate.at(event);
      const by = [at[0] - held.from[0], at[1] - held.from[1]];
      held.moving ||= Math.hypot(by[0], by[1]) * this.plate.scale >= 3;
      if (!held.moving) return;
      newest = [held.start[0] + by[0], held.start[1] + by[1]];
      follow();
    });
    for (const end of ["pointerup", "pointercancel"]) {
      pad.addEventListener(end, async () => {
        const last = held;
        const to_px = newest;
        held = newest = null;
        if (!last?.moving || !to_px) return;
        await this.send(() => api.put(`/api/settle/points/${encodeURIComponent(last.name)}`, { revision: this.state.revision, to_px, hold: last.hold }));
      });
    }
  }

  /** @param {any[]} things @param {[number, number]} at @param {number} [most_px] screen pixels */
  nearest(things, at, most_px = PICK_PX) {
    const far = (/** @type {any} */ one) => Math.hypot(one.at[0] - at[0], one.at[1] - at[1]) * this.plate.scale;
    const best = things.reduce((found, one) => (!found || far(one) < far(found) ? one : found), null);
    return best && far(best) <= most_px ? best : null;
  }

  /** @param {CanvasRenderingContext2D} context @param {Plate} plate */
  paint(context, plate) {
    if (this.before) plate.lines(context, this.state.before, { colour: "#6b5636", width: 1.2 });
    plate.lines(context, this.state.paths, { colour: "#ffd68c", width: 1.6 });
    const found = this.looking && this.corner(this.looking, Infinity);
    if (this.looking) plate.cross(context, this.looking, 16, "#ffd68c");
    if (found) plate.ring(context, found.at, 9, "#ffd68c");
    for (const point of this.state.points) {
      plate.cross(context, point.house_px, 12, "#fff3da");
      if (point.name === this.state.chosen) plate.ring(context, point.house_px, 12, "#fff3da");
    }
  }
}

/** @param {any} point */
const movedPx = (point) => Math.hypot(point.house_px[0] - point.map_px[0], point.house_px[1] - point.map_px[1]);
