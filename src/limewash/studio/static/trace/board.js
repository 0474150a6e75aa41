// @ts-check
/**
 * The sheet that is drawn on: the photo, pan and zoom, the pointer; a canvas for the photo and one over it for lines.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 * @typedef {import("../geometry/view.js").View} View
 * @typedef {import("./tiles.js").PhotoInfo} PhotoInfo
 * @typedef {{down: (at: Point, event: PointerEvent) => void, move: (at: Point, event: PointerEvent) => void, up: (at: Point, event: PointerEvent) => void, twice: (at: Point) => void, leave: () => void, press: () => void}} Hand
 */
import { fitting, kept, panned, toPhoto, toScreen, zoomed } from "../geometry/view.js";
import { Tiles } from "./tiles.js";

const CLOSEST = 48;
/** So long after the last movement the photo is drawn at its best. [ms] */
const REST_MS = 120;
/** A finger that has gone no farther may still be joined by a second one. [screen px] */
const TOUCH_PX = 8;

/** Shows a photo to the pixel; tells its `hand` of the pointer in photo pixels, calls `overlay` to draw over it. */
export class TraceBoard extends HTMLElement {
  /** @type {View} */
  view = { scale: 1, x: 0, y: 0 };
  /** @type {[number, number]} */
  screen = [0, 0];
  ratio = 1;
  /** @type {Tiles | null} */
  tiles = null;
  /** @type {Hand | null} */
  hand = null;
  /** @type {(context: CanvasRenderingContext2D) => void} */
  overlay = () => {};
  /** Called when the view has changed. */
  moved = () => {};
  /** Where the pointer is, in photo pixels; null when it is elsewhere. @type {Point | null} */
  pointer = null;
  #photo = document.createElement("canvas");
  #over = document.createElement("canvas");
  #photoOld = true;
  #overOld = true;
  #wanted = false;
  #resting = 0;
  #panning = false;
  #space = false;
  /** Whether the photo was moved while Space was held: then it was no click. */
  #spaceUsed = false;
  /** Fingers on the glass. @type {Map<number, Point>} */
  #fingers = new Map();
  /** The first finger's touch, while it may still become one of two. @type {{at: Point, screen: Point, event: PointerEvent} | null} */
  #touch = null;

  connectedCallback() {
    this.tabIndex = 0;
    this.setAttribute("role", "application");
    this.append(this.#photo, this.#over);
    new ResizeObserver(() => this.#resized()).observe(this);
    this.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    this.addEventListener("pointerdown", (event) => this.#down(event));
    this.addEventListener("pointermove", (event) => this.#move(event));
    this.addEventListener("pointerup", (event) => this.#up(event));
    this.addEventListener("pointercancel", (event) => { this.#touch = null; this.#up(event); });
    this.addEventListener("pointerleave", () => { this.pointer = null; this.hand?.leave(); this.redraw(); });
    this.addEventListener("dblclick", (event) => this.hand?.twice(this.#at(event)));
    this.addEventListener("contextmenu", (event) => event.preventDefault());
    addEventListener("themechange", () => this.redraw(true));
    this.addEventListener("keyup", (event) => this.#spaceUp(event));
    this.addEventListener("blur", () => { this.#space = false; }); // let go elsewhere: no keyup comes
    this.#resized();
  }

  /** The photo's width and height. @returns {[number, number]} */
  get photoSize() {
    return this.tiles ? [this.tiles.info.width, this.tiles.info.height] : [1, 1];
  }

  /** @param {PhotoInfo} info */
  show(info) {
    const first = !this.tiles;
    this.tiles = new Tiles(info, () => this.redraw(true));
    if (first) this.fit();
    this.redraw(true);
  }

  /** The whole photo, or one part of it. @param {{left: number, top: number, right: number, bottom: number}} [box] */
  fit(box) {
    const [width, height] = this.photoSize;
    const whole = { left: -0.5, top: -0.5, right: width - 0.5, bottom: height - 0.5 };
    this.#look(box ? fitting(box, this.screen, 90, 6) : fitting(whole, this.screen, 12));
  }

  /** @param {number} factor @param {Point} [at] screen point that stays; the middle when left out */
  zoom(factor, at = [this.screen[0] / 2, this.screen[1] / 2]) {
    const [width, height] = this.photoSize;
    const least = 0.5 * Math.min(this.screen[0] / width, this.screen[1] / height);
    this.#look(zoomed(this.view, at, factor, [Math.min(least, 1), CLOSEST]));
  }

  /** @param {Point} by screen pixels */
  pan(by) {
    this.#look(panned(this.view, by));
  }

  /** How many photo pixels a length on the screen is. @param {number} screen_px */
  reach(screen_px) {
    return screen_px / this.view.scale;
  }

  /** @param {Point} p photo pixels @returns {Point} screen pixels */
  seen(p) {
    return toScreen(this.view, p);
  }

  /** @param {Point} p screen pixels @returns {Point} photo pixels */
  inPhoto(p) {
    return toPhoto(this.view, p);
  }

  /** @param {boolean} [photoToo] */
  redraw(photoToo = false) {
    this.#photoOld ||= photoToo;
    this.#overOld = true;
    if (this.#wanted) return;
    this.#wanted = true;
    requestAnimationFrame(() => {
      this.#wanted = false;
      this.#draw();
    });
  }

  /** The photo as it is drawn now, for the loupe. */
  get picture() {
    return this.#photo;
  }

  /** @param {View} view */
  #look(view) {
    this.view = kept(view, this.photoSize, this.screen);
    this.moved();
    clearTimeout(this.#resting);
    this.#resting = setTimeout(() => { this.#resting = 0; this.redraw(true); }, REST_MS);
    this.redraw(true);
  }

  #resized() {
    const { width, height } = this.getBoundingClientRect();
    if (!width || !height) return;
    const before = this.screen;
    this.screen = [width, height];
    this.ratio = devicePixelRatio;
    for (const canvas of [this.#photo, this.#over]) {
      canvas.width = Math.round(width * this.ratio);
      canvas.height = Math.round(height * this.ratio);
    }
    if (before[0] === 0) this.fit();
    else this.view = panned(this.view, [(width - before[0]) / 2, (height - before[1]) / 2]);
    this.moved();
    this.#photoOld = this.#overOld = true;
    this.#draw(); // at once: a canvas is empty after its size was set
  }

  #draw() {
    if (this.#photoOld && this.tiles) {
      const context = /** @type {CanvasRenderingContext2D} */ (this.#photo.getContext("2d", { alpha: false }));
      context.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
      context.fillStyle = getComputedStyle(this).getPropertyValue("--well") || "#000";
      context.fillRect(0, 0, ...this.screen);
      this.tiles.draw(context, this.view, this.screen, this.ratio, this.#resting > 0);
      this.#photoOld = false;
    }
    if (this.#overOld) {
      const context = /** @type {CanvasRenderingContext2D} */ (this.#over.getContext("2d"));
      context.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
      context.clearRect(0, 0, ...this.screen);
      this.overlay(context);
      this.#overOld = false;
    }
  }

  /** @param {MouseEvent} event @returns {Point} */
  #on(event) {
    const box = this.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {MouseEvent} event @returns {Point} */
  #at(event) {
    return toPhoto(this.view, this.#on(event));
  }

  /** Space goes down: while it is held, the mouse moves the photo. */
  spaceDown() {
    this.focus({ preventScroll: true });
    this.#space = true;
    this.#spaceUsed = false;
  }

  /** Space was pressed shortly: a click of the pointer that the arrow keys move. @param {KeyboardEvent} event */
  #spaceUp(event) {
    if (event.code !== "Space" || !this.#space) return;
    this.#space = false;
    if (!this.#spaceUsed) this.hand?.press();
  }

  /** @param {WheelEvent} event */
  #wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 16 : 1;
    if (event.shiftKey) this.pan([-event.deltaY * lines, 0]);
    else this.zoom(Math.exp(-event.deltaY * lines * (event.ctrlKey ? 0.01 : 0.0018)), this.#on(event));
    this.pointer = this.#at(event);
  }

  /** @param {PointerEvent} event */
  #down(event) {
    this.focus({ preventScroll: true });
    this.setPointerCapture(event.pointerId);
    if (event.pointerType === "touch") this.#fingers.set(event.pointerId, this.#on(event));
    if (event.button === 1 || event.button === 2 || this.#space || this.#fingers.size > 1) {
      if (this.#fingers.size > 1 && !this.#touch && !this.#panning) this.hand?.up(this.pointer ?? this.#at(event), event); // what the first one moved is let go
      this.#touch = null;
      this.#panning = this.#spaceUsed = true;
      this.classList.add("panning");
      return;
    }
    this.pointer = this.#at(event);
    if (event.pointerType === "touch") this.#touch = { at: this.pointer, screen: this.#on(event), event };
    else this.hand?.down(this.pointer, event);
    this.redraw();
  }

  /** One finger it is. */
  #touched() {
    if (!this.#touch) return;
    const { at, event } = this.#touch;
    this.#touch = null;
    this.hand?.down(at, event);
  }

  /** @param {PointerEvent} event */
  #move(event) {
    if (this.#fingers.size > 1 && this.#fingers.has(event.pointerId)) this.#pinch(event);
    else if (this.#panning) this.pan([event.movementX, event.movementY]);
    else {
      if (this.#touch) {
        const [x, y] = this.#on(event);
        if (Math.hypot(x - this.#touch.screen[0], y - this.#touch.screen[1]) < TOUCH_PX) return;
        this.#touched();
      }
      this.pointer = this.#at(event);
      this.hand?.move(this.pointer, event);
      this.redraw();
    }
  }

  /** @param {PointerEvent} event */
  #up(event) {
    this.#fingers.delete(event.pointerId);
    if (this.#panning) {
      this.#panning = this.#fingers.size > 0;
      this.classList.toggle("panning", this.#panning);
      return;
    }
    this.#touched();
    this.hand?.up(this.#at(event), event);
    this.redraw();
  }

  /** @param {PointerEvent} event */
  #pinch(event) {
    const [a, b] = [...this.#fingers.values()];
    this.#fingers.set(event.pointerId, this.#on(event));
    const [c, d] = [...this.#fingers.values()];
    const middle = (/** @type {Point} */ p, /** @type {Point} */ q) => /** @type {Point} */ ([(p[0] + q[0]) / 2, (p[1] + q[1]) / 2]);
    const [before, after] = [middle(a, b), middle(c, d)];
    this.zoom(Math.hypot(c[0] - d[0], c[1] - d[1]) / Math.max(Math.hypot(a[0] - b[0], a[1] - b[1]), 1), after);
    this.pan([after[0] - before[0], after[1] - before[1]]);
  }
}

customElements.define("trace-board", TraceBoard);
