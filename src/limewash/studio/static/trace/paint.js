// @ts-check
/**
 * Lines over the photo, in screen pixels.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 * @typedef {import("../geometry/view.js").View} View
 * @typedef {import("../geometry/path.js").Path} Path
 * @typedef {import("./store.js").Kind} Kind
 */
import { vertices } from "../geometry/path.js";
import { pathText } from "../geometry/path-text.js";
import { toScreen } from "../geometry/view.js";

/** Path2D objects in photo pixels, kept as long as the path itself. @type {WeakMap<Path, Path2D>} */
const drawn = new WeakMap();

/** @param {Path} path */
function outline(path) {
  let made = drawn.get(path);
  if (!made) {
    made = new Path2D(pathText(path, 4));
    drawn.set(path, made);
  }
  return made;
}

/** Dashes as in tracing.svg: kinds are told apart without colour too. @type {Partial<Record<Kind, number[]>>} */
const DASHES = { garage: [16, 4], wall: [8, 6], trim: [3, 4], step: [12, 4, 3, 4], "keep-dark": [4, 4], other: [16, 6, 4, 6] };

export class Painter {
  /** @type {Record<string, string>} */
  #colours = {};

  /** @param {CanvasRenderingContext2D} context @param {View} view */
  constructor(context, view) {
    this.context = context;
    this.view = view;
  }

  /** @param {string} name of a CSS variable */
  colour(name) {
    this.#colours[name] ??= getComputedStyle(document.documentElement).getPropertyValue(name).trim();
    return this.#colours[name];
  }

  /**
   * One traced path.
   * @param {Path} path @param {Kind} kind @param {{selected?: boolean, faint?: boolean, hovered?: boolean, locked?: boolean}} [how]
   */
  traced(path, kind, how = {}) {
    const { context, view } = this;
    const colour = this.colour(`--k-${kind}`);
    context.save();
    context.translate(view.x, view.y);
    context.scale(view.scale, view.scale);
    const shape = outline(path);
    if (path.closed) {
      context.globalAlpha = kind === "keep-dark" ? 0.34 : how.selected ? 0.16 : how.hovered ? 0.12 : 0.05;
      context.fillStyle = kind === "keep-dark" ? "#000" : colour;
      context.fill(shape);
    }
    context.lineJoin = context.lineCap = "round";
    context.globalAlpha = how.faint ? 0.5 : 0.7;
    context.strokeStyle = "#000";
    context.lineWidth = (how.selected ? 5 : 3.6) / view.scale;
    context.stroke(shape);
    context.globalAlpha = how.faint ? 0.75 : 1;
    context.strokeStyle = colour;
    context.lineWidth = (how.selected || how.hovered ? 2.2 : 1.5) / view.scale;
    context.setLineDash((DASHES[kind] ?? []).map((dash) => dash / view.scale));
    context.stroke(shape);
    context.restore();
  }

  /** Corners and curve handles of the path in hand. @param {Path} path @param {number | null} held index of the corner in hand @param {boolean} locked @param {import("../geometry/path.js").Handle | null} [handle] in hand */
  handles(path, held, locked, handle = null) {
    const { context, view } = this;
    path.segments.forEach((segment, index) => {
      if (segment.type !== "cubic" || locked || path.segments.length > 40) return;
      for (const which of /** @type {const} */ (["control1", "control2"])) {
        const to = segment[which];
        this.line(which === "control1" ? segment.start : segment.end, to, this.colour("--mark"), 1, []);
        this.spot(to, handle?.segment === index && handle.which === which ? 6 : 3.5, this.colour("--mark"), "round");
      }
    });
    vertices(path).forEach((corner, index) => {
      const at = toScreen(view, corner);
      const size = index === held ? 5.5 : 4;
      context.fillStyle = locked ? "#888" : index === held ? this.colour("--mark") : "#fff";
      context.strokeStyle = "#000";
      context.lineWidth = 1;
      context.beginPath();
      context.rect(at[0] - size, at[1] - size, 2 * size, 2 * size);
      context.fill();
      context.stroke();
    });
  }

  /** @param {Point} a @param {Point} b @param {string} colour @param {number} width @param {number[]} dashes */
  line(a, b, colour, width, dashes) {
    const { context, view } = this;
    const [p, q] = [toScreen(view, a), toScreen(view, b)];
    context.save();
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.setLineDash(dashes);
    context.beginPath();
    context.moveTo(...p);
    context.lineTo(...q);
    context.stroke();
    context.restore();
  }

  /** An endless line through two points. @param {Point} a @param {Point} b @param {string} colour */
  endless(a, b, colour) {
    const [p, q] = [toScreen(this.view, a), toScreen(this.view, b)];
    const size = Math.hypot(q[0] - p[0], q[1] - p[1]) || 1;
    const far = 6000 / (size * 1);
    const [dx, dy] = [(b[0] - a[0]) * far, (b[1] - a[1]) * far];
    this.line([a[0] - dx, a[1] - dy], [a[0] + dx, a[1] + dy], colour, 1, [2, 5]);
  }

  /** @param {Point} at photo @param {number} radius @param {string} colour @param {"round" | "cross" | "ring" | "plus"} form */
  spot(at, radius, colour, form) {
    const { context, view } = this;
    const [x, y] = toScreen(view, at);
    context.save();
    context.beginPath();
    if (form === "cross") {
      for (const [dx, dy] of [[1, 1], [1, -1]]) {
        context.moveTo(x - dx * radius, y - dy * radius);
        context.lineTo(x + dx * radius, y + dy * radius);
      }
    } else if (form === "plus") {
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        context.moveTo(x + dx * 3, y + dy * 3);
        context.lineTo(x + dx * radius, y + dy * radius);
      }
    } else {
      context.arc(x, y, radius, 0, 2 * Math.PI);
    }
    context.lineWidth = 3.5;
    context.strokeStyle = "rgb(0 0 0 / .6)";
    context.stroke();
    context.lineWidth = 1.5;
    context.strokeStyle = context.fillStyle = colour;
    if (form === "round") context.fill();
    else context.stroke();
    context.restore();
  }

  /** Words on a small plate beside a place. @param {Point} at photo @param {string} text */
  words(at, text) {
    const { context, view } = this;
    const [x, y] = toScreen(view, at);
    context.save();
    context.font = "12px system-ui, sans-serif";
    const width = context.measureText(text).width + 12;
    context.fillStyle = "rgb(12 10 8 / .82)";
    context.beginPath();
    context.roundRect(x + 12, y + 10, width, 22, 3);
    context.fill();
    context.fillStyle = "#e9dfca";
    context.textBaseline = "middle";
    context.fillText(text, x + 18, y + 21.5);
    context.restore();
  }
}
