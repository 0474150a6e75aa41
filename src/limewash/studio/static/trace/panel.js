// @ts-check
/**
 * The panel: kinds, what is in hand, all that is drawn.
 *
 * @typedef {import("./store.js").Traced} Traced
 * @typedef {import("./store.js").Kind} Kind
 */
import { button, el, numberOf, redrawn, svg } from "../dom.js";
import { apply } from "../geometry/homography.js";
import { pathLength, vertices } from "../geometry/path.js";
import { roving } from "../roving.js";
import { KINDS, kindWord } from "./store.js";

const LOCK = "M5.5 9V6.5a4.5 4.5 0 0 1 9 0V9M4 9h12v8H4z";

/** @param {string} d */
const sign = (d) => svg("svg", { viewBox: "0 0 20 20", class: "icon", "aria-hidden": "true" }, svg("path", { d }));

export class Panel {
  #kinds;
  #inHand = el("section", { class: "in-hand", "aria-label": "In hand" });
  #list = roving(el("div", { class: "drawn" }), ".drawn-row");
  #count = el("span", { class: "soft small end figures" });
  #shownFor = "";
  #listed = "";

  /** @param {import("./tool.js").Bench} bench @param {Record<string, any>} does what its buttons do */
  constructor(bench, does) {
    this.bench = bench;
    this.does = does;
    this.#kinds = roving(el("div", { class: "kinds", role: "radiogroup", "aria-label": "Kind" },
      ...KINDS.map(([kind, words], n) => el("button", { type: "button", role: "radio", "data-kind": kind, title: `${words} (${(n + 1) % 10})`,
        on: { click: (/** @type {MouseEvent} */ event) => { does.kind(kind); this.#handBack(event); } } }, el("i", { style: `--c: var(--k-${kind})` }), words))));
    this.element = el("div", { class: "panel-scroll" },
      this.#kinds, this.#inHand, el("section", { class: "drawn-section" }, el("div", { class: "row" }, el("h3", {}, "Drawn"), this.#count), this.#list));
  }

  show() {
    const { bench } = this;
    const chosen = [...bench.selected].map((id) => bench.store.get(id)).filter((path) => path !== undefined);
    const kind = chosen.length ? (chosen.every((path) => path.kind === chosen[0].kind) ? chosen[0].kind : "") : bench.kind;
    for (const chip of this.#kinds.children) chip.setAttribute("aria-checked", String(chip.dataset.kind === kind));
    this.#showInHand(chosen);
    this.#showList();
  }

  /** @param {Traced[]} chosen */
  #showInHand(chosen) {
    const some = this.bench.store.paths.length > 0 && this.does.onPhoto();
    const key = JSON.stringify([chosen.map((path) => [path.id, this.bench.store.isLocked(path.id)]), this.bench.corner !== null, some]);
    if (key !== this.#shownFor) {
      this.#shownFor = key;
      redrawn(this.#inHand, () => this.#inHand.replaceChildren(...(chosen.length ? this.#controls(chosen) : this.#emptyHand(some))));
    }
    this.#fill(chosen);
  }

  /** @param {boolean} some whether anything is drawn that could settle on a photo */
  #emptyHand(some) {
    const words = el("p", { class: "soft small nothing" }, "Nothing in hand. Choose a tool and draw, or click a line.");
    if (!some) return [words];
    return [words, el("div", { class: "row tight" }, button({ text: "Settle all", run: this.does.settle,
      label: "Move all that is drawn onto the photo's edges together: windows of one row then help each other (S)" }))];
  }

  /** @param {Traced[]} chosen */
  #controls(chosen) {
    const { does } = this;
    const [path] = chosen;
    const one = chosen.length === 1;
    const locked = chosen.some((p) => this.bench.store.isLocked(p.id));
    const number = (/** @type {string} */ name, /** @type {string} */ label, /** @type {(value: number) => void} */ took) =>
      el("label", { class: "cell" }, label, el("input", { inputmode: "decimal", autocomplete: "off", name, disabled: locked,
        on: { change: (/** @type {any} */ event) => { const value = numberOf(event.target.value); if (Number.isFinite(value)) took(value); } } }));
    return [
      one ? el("label", { class: "field" }, "Name", el("input", { name: "title", value: path.title, maxlength: 200, placeholder: kindWord(path.kind), disabled: locked,
        on: { change: (/** @type {any} */ event) => does.rename(event.target.value.trim()) } })) : el("p", {}, `${chosen.length} in hand`),
      el("label", { class: "field" }, "Group", el("input", { name: "group", value: groupOf(chosen), maxlength: 200, placeholder: "None; a name such as Porch makes one", disabled: locked,
        on: { change: (/** @type {any} */ event) => does.gather(event.target.value.trim()) } })),
      el("div", { class: "cells" },
        number("x", this.bench.corner === null ? "x" : "Corner x", (value) => does.place(0, value)),
        number("y", this.bench.corner === null ? "y" : "Corner y", (value) => does.place(1, value)),
        el("label", { class: "cell" }, "Nudge by", el("span", { class: "by-step" }, el("input", { inputmode: "decimal", autocomplete: "off", name: "step", value: does.step().size,
          on: { change: (/** @type {any} */ event) => { const size = numberOf(event.target.value); if (size > 0) does.setStep(size, null); else event.target.value = does.step().size; } } }),
          el("select", { name: "unit", "aria-label": "Unit", on: { change: (/** @type {any} */ event) => does.setStep(null, event.target.value) } },
            ...["px", "mm"].map((unit) => el("option", { value: unit, selected: does.step().unit === unit, disabled: unit === "mm" && !this.bench.wall?.metric }, unit)))))),
      el("p", { class: "soft small figures sizes" }),
      el("div", { class: "row tight" },
        button({ text: "Settle", label: "Move it onto the edges of the photo (S)", run: does.settle, disabled: locked }),
        button({ text: "Mirror", label: "Mirror it about a plumb line (Shift+M)", run: () => does.tool("mirror") }),
        button({ text: "Repeat", label: "Repeat it in a row (Shift+R)", run: () => does.tool("repeat") }),
        el("input", { class: "copies", type: "number", min: 1, max: 60, value: this.bench.copies, "aria-label": "How many copies",
          on: { change: (/** @type {any} */ event) => does.copies(Number(event.target.value)) } })),
      el("div", { class: "row tight" },
        button({ text: locked ? "Unlock" : "Lock", label: "Keep it from being moved (K)", run: does.lock }),
        one && path.closed !== undefined ? this.#surface(path, locked) : null,
        button({ text: "Take out", label: "Take it out of the tracing (Delete)", kind: "end", run: does.remove, disabled: locked })),
    ];
  }

  /** Which side the scan is to be trusted on. @param {Traced} path @param {boolean} locked */
  #surface(path, locked) {
    const sides = path.closed ? [["", "Lies on: as found"], ["inside", "Lies on: inside"], ["outside", "Lies on: outside"]]
      : [["", "Lies on: as found"], ["left", "Lies on: left side"], ["right", "Lies on: right side"]];
    return el("select", { class: "surface", name: "surface", "aria-label": "Surface that the line lies on", disabled: locked,
      on: { change: (/** @type {any} */ event) => this.does.surface(event.target.value || null) } },
      ...sides.map(([value, words]) => el("option", { value, selected: (path.surface ?? "") === value }, words)));
  }

  /** Numbers that follow the hand. @param {Traced[]} chosen */
  #fill(chosen) {
    const [path] = chosen;
    if (!path) return;
    const corner = this.bench.corner;
    const corners = vertices(path);
    const at = corner !== null && corners[corner] ? corners[corner] : corners[0];
    for (const [k, name] of ["x", "y"].entries()) {
      const input = this.#inHand.querySelector(`input[name=${name}]`);
      if (input && document.activeElement !== input) input.value = String(Number(at[k].toFixed(2)));
    }
    const title = this.#inHand.querySelector("input[name=title]");
    if (title && document.activeElement !== title) title.value = path.title;
    const group = this.#inHand.querySelector("input[name=group]");
    if (group && document.activeElement !== group) group.value = groupOf(chosen);
    const sizes = this.#inHand.querySelector(".sizes");
    if (sizes) sizes.textContent = this.#sizes(path);
  }

  /** @param {Traced} path */
  #sizes(path) {
    const { wall } = this.bench;
    const length = `${path.closed ? "around" : "long"} ${pathLength(path, 0.1).toFixed(0)} px`;
    if (!wall?.metric) return length;
    const onWall = vertices(path).map((p) => apply(wall.toWall, p));
    const span = (/** @type {0 | 1} */ k) => Math.max(...onWall.map((p) => p[k])) - Math.min(...onWall.map((p) => p[k]));
    return `${span(0).toFixed(2)} × ${span(1).toFixed(2)} m, ${length}`;
  }

  #showList() {
    const { bench } = this;
    const paths = bench.store.paths;
    this.#count.textContent = paths.length ? String(paths.length) : "";
    const groups = new Map();
    for (const path of paths) {
      const name = path.group || pluralOf(path.kind);
      groups.set(name, [...(groups.get(name) ?? []), path]);
    }
    const key = JSON.stringify([...groups].map(([name, members]) => [name, members.map((/** @type {Traced} */ path) =>
      [path.id, path.kind, path.title, bench.selected.has(path.id), bench.store.isLocked(path.id)])]));
    if (key === this.#listed) return; // nothing is made anew under the hand that only points
    this.#listed = key;
    const focused = document.activeElement instanceof HTMLElement && this.#list.contains(document.activeElement) ? document.activeElement.dataset.id : null;
    this.#list.replaceChildren(...[...groups].flatMap(([name, members]) => [
      members.length > 1 || members[0].group ? el("button", { type: "button", class: "group", title: "Take all of them in hand",
        on: { click: (/** @type {MouseEvent} */ event) => { bench.select(members.map((/** @type {Traced} */ path) => path.id)); this.#handBack(event, true); } } },
        name, el("span", { class: "figures" }, String(members.length))) : null,
      el("div", { class: "drawn-group", role: "listbox", "aria-label": name, "aria-multiselectable": "true" }, ...members.map((/** @type {Traced} */ path) => this.#row(path))),
    ].filter(Boolean)));
    if (focused) this.#list.querySelector(`[data-id="${CSS.escape(focused)}"]`)?.focus();
  }

  /** After a mouse, or when something is taken in hand, the arrow keys belong to the board. @param {MouseEvent} event @param {boolean} [always] */
  #handBack(event, always = false) {
    if (always || event.detail > 0) this.bench.board.focus({ preventScroll: true });
  }

  /** @param {Traced} path */
  #row(path) {
    const { bench } = this;
    return el("button", { type: "button", class: "drawn-row", role: "option", "data-id": path.id, "aria-selected": String(bench.selected.has(path.id)),
      on: {
        click: (/** @type {MouseEvent} */ event) => {
          bench.select(event.shiftKey ? toggled(bench.selected, path.id) : [path.id]);
          this.#handBack(event, !event.shiftKey);
        },
        keydown: (/** @type {KeyboardEvent} */ event) => {
          if (event.key !== " " || event.ctrlKey || event.altKey) return;
          event.preventDefault(); // more than one is gathered without leaving the list; Enter takes one in hand
          bench.select(toggled(bench.selected, path.id));
        },
        dblclick: () => this.does.look(path.id),
      } },
      el("i", { style: `--c: var(--k-${path.kind})` }), el("span", {}, path.title || path.id), bench.store.isLocked(path.id) ? sign(LOCK) : null);
  }
}

/** @param {Set<string>} ids @param {string} id @returns {string[]} */
const toggled = (ids, id) => (ids.has(id) ? [...ids].filter((one) => one !== id) : [...ids, id]);

/** The group that all of them share, else none. @param {Traced[]} paths */
const groupOf = (paths) => (paths.every((path) => path.group === paths[0].group) ? paths[0].group : "");

/** @param {Kind} kind */
const pluralOf = (kind) => (kind === "keep-dark" ? "Kept dark" : kind === "other" ? "Other" : `${kindWord(kind)}s`);
