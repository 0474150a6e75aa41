// @ts-check
/** The projector's picture in small, on a desk page: lines in projector pixels, scaled to fit. */

import { el } from "../dom.js";
import { KIND_COLOURS } from "./draw.js";

export class Plate {
  scale = 1;
  left = 0;
  top = 0;

  /** @param {[number, number]} size the projector's native pixels @param {(context: CanvasRenderingContext2D, plate: Plate) => void} paint */
  constructor(size, paint) {
    this.size = size;
    this.paint = paint;
    this.canvas = el("canvas");
    this.element = el("div", { class: "pad", tabindex: 0, role: "application" }, this.canvas);
    this.wanted = false;
    new ResizeObserver(() => this.draw()).observe(this.element);
  }

  draw() {
    if (this.wanted) return;
    this.wanted = true;
    requestAnimationFrame(() => {
      this.wanted = false;
      this.#draw();
    });
  }

  /** After a button beside it was clicked with the mouse, the keys belong to the picture again. @param {HTMLElement} page */
  keepKeys(page) {
    page.addEventListener("click", (event) => {
      const control = event.target instanceof Element && event.target.closest("button");
      if (control && event.detail > 0 && !document.querySelector("dialog:modal")) this.element.focus({ preventScroll: true });
    });
  }

  /** Projector pixels under a pointer. @param {PointerEvent | MouseEvent} event @returns {[number, number]} */
  at(event) {
    const box = this.element.getBoundingClientRect();
    return [(event.clientX - box.left - this.left) / this.scale, (event.clientY - box.top - this.top) / this.scale];
  }

  #draw() {
    const { clientWidth: width, clientHeight: height } = this.element;
    const ratio = devicePixelRatio;
    this.canvas.width = width * ratio;
    this.canvas.height = height * ratio;
    const context = this.canvas.getContext("2d");
    if (!context) return;
    this.scale = Math.min(width / this.size[0], height / this.size[1]) * 0.97;
    this.left = (width - this.size[0] * this.scale) / 2;
    this.top = (height - this.size[1] * this.scale) / 2;
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.strokeStyle = "#3a3127";
    context.strokeRect(this.left - 0.5, this.top - 0.5, this.size[0] * this.scale + 1, this.size[1] * this.scale + 1);
    context.setTransform(ratio * this.scale, 0, 0, ratio * this.scale, ratio * (this.left + this.scale / 2), ratio * (this.top + this.scale / 2));
    this.paint(context, this);
  }

  /**
   * Lines in projector pixels; `width` and `radius` here are in screen pixels.
   * @param {CanvasRenderingContext2D} context @param {any[]} paths @param {{colour?: string, width?: number}} [look]
   */
  lines(context, paths, look = {}) {
    context.lineWidth = (look.width ?? 1.4) / this.scale;
    context.lineJoin = "round";
    for (const path of paths) {
      context.strokeStyle = look.colour ?? KIND_COLOURS[/** @type {keyof typeof KIND_COLOURS} */ (path.kind)];
      context.beginPath();
      path.points.forEach((/** @type {[number, number]} */ point, /** @type {number} */ n) => (n ? context.lineTo(...point) : context.moveTo(...point)));
      if (path.closed) context.closePath();
      context.stroke();
    }
  }

  /** @param {CanvasRenderingContext2D} context @param {[number, number]} at @param {number} radius @param {string} colour */
  ring(context, at, radius, colour) {
    context.lineWidth = 1.6 / this.scale;
    context.strokeStyle = colour;
    context.beginPath();
    context.arc(at[0], at[1], radius / this.scale, 0, 2 * Math.PI);
    context.stroke();
  }

  /** A cross with a free centre. @param {CanvasRenderingContext2D} context @param {[number, number]} at @param {number} reach @param {string} colour */
  cross(context, at, reach, colour) {
    context.lineWidth = 1.6 / this.scale;
    context.strokeStyle = colour;
    context.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      context.moveTo(at[0] + (dx * 4) / this.scale, at[1] + (dy * 4) / this.scale);
      context.lineTo(at[0] + (dx * reach) / this.scale, at[1] + (dy * reach) / this.scale);
    }
    context.stroke();
  }
}
