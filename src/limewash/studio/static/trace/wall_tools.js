// @ts-check
/**
 * Tools that use the wall's plane: measure, mirror, repeat.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 * @typedef {import("./store.js").Traced} Traced
 */
import { mirrored, repeated } from "../geometry/on-wall.js";
import { wallDistance } from "../geometry/perspective.js";
import { distance, middle } from "../geometry/vector.js";
import { paintCaught, Tool } from "./tool.js";

/** Two points: how far apart they are on the wall. */
export class MeasureTool extends Tool {
  /** @type {Point[]} */
  points = [];
  /** Called when a length is taken, so that the panel can ask what it is in metres. @type {(a: Point, b: Point) => void} */
  measured = () => {};

  get busy() {
    return this.points.length === 1;
  }

  get hint() {
    return this.busy ? "Click the other end" : "Click both ends of a length on the wall; one known length gives all others";
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  move(at, event) {
    this.caught = this.bench.catch(at, event, this.busy ? this.points[0] : null, []);
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  down(at, event) {
    this.move(at, event);
    const point = this.caught?.point ?? at;
    this.points = this.busy ? [...this.points, point] : [point];
    if (this.points.length === 2) this.measured(this.points[0], this.points[1]);
  }

  stop() {
    const was = this.points.length > 0;
    this.points = [];
    return was;
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    const ends = this.busy && this.caught ? [this.points[0], this.caught.point] : this.points;
    for (const end of ends) painter.spot(end, 4, painter.colour("--mark"), "ring");
    if (ends.length === 2) {
      painter.line(ends[0], ends[1], "#000", 3.5, []);
      painter.line(ends[0], ends[1], painter.colour("--mark"), 1.5, []);
      painter.words(middle(ends[0], ends[1]), lengthInWords(this.bench, ends[0], ends[1]));
    }
    paintCaught(painter, this.caught);
  }
}

/** @param {import("./tool.js").Bench} bench @param {Point} a @param {Point} b */
export function lengthInWords({ wall }, a, b) {
  const pixels = `${distance(a, b).toFixed(1)} px`;
  return wall?.metric ? `${wallDistance(wall, a, b).toFixed(3)} m, ${pixels}` : pixels;
}

/** The selected paths mirrored about a plumb line. */
export class MirrorTool extends Tool {
  get hint() {
    return this.bench.selected.size ? "Click the plumb line to mirror about: the middle between left and right" : "First select what shall be mirrored";
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  move(at, event) {
    this.caught = this.bench.catch(at, event, null, []);
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  down(at, event) {
    this.move(at, event);
    const copies = this.#copies(this.caught?.point ?? at);
    if (copies.length) putCopies(this.bench, copies, "mirror");
  }

  /** @param {Point} axis @returns {Traced[]} */
  #copies(axis) {
    const { wall } = this.bench;
    return wall ? inHand(this.bench).map((path) => ({ ...path, ...mirrored(path, wall, axis) })) : [];
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    if (this.caught) for (const copy of this.#copies(this.caught.point)) painter.traced(copy, copy.kind, { faint: true });
    paintCaught(painter, this.caught);
  }
}

/** The selected paths repeated: from a place on the first to the same place on the next. */
export class RepeatTool extends Tool {
  /** @type {Point | null} */
  #from = null;

  get busy() {
    return this.#from !== null;
  }

  get hint() {
    if (!this.bench.selected.size) return "First select what shall be repeated";
    return this.busy ? "Click the same place on the next one" : "Click a clear corner of what is selected";
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  move(at, event) {
    this.caught = this.bench.catch(at, event, this.#from, []);
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  down(at, event) {
    this.move(at, event);
    const point = this.caught?.point ?? at;
    if (!this.#from) {
      this.#from = point;
      return;
    }
    const copies = this.#copies(this.#from, point);
    this.#from = null;
    if (copies.length) putCopies(this.bench, copies, this.bench.copies > 1 ? `repeat ${this.bench.copies} times` : "repeat");
  }

  stop() {
    const was = this.busy;
    this.#from = null;
    return was;
  }

  /** @param {Point} from @param {Point} to @returns {Traced[]} */
  #copies(from, to) {
    const { wall, copies } = this.bench;
    if (!wall) return [];
    return inHand(this.bench).flatMap((path) => repeated(path, wall, from, to, copies).map((copy) => ({ ...path, ...copy })));
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    if (this.#from && this.caught) {
      for (const copy of this.#copies(this.#from, this.caught.point)) painter.traced(copy, copy.kind, { faint: true });
      painter.spot(this.#from, 4, painter.colour("--mark"), "ring");
    }
    paintCaught(painter, this.caught);
  }
}

/** @param {import("./tool.js").Bench} bench @returns {Traced[]} */
function inHand(bench) {
  return [...bench.selected].map((id) => bench.store.get(id)).filter((path) => path !== undefined);
}

/** Copies get ids and names of their own. @param {import("./tool.js").Bench} bench @param {Traced[]} copies @param {string} what */
function putCopies(bench, copies, what) {
  const taken = new Set(bench.store.paths.map((path) => path.id));
  const put = copies.map((copy) => {
    let number = 1;
    while (taken.has(`${copy.kind}-${number}`)) number++;
    const id = `${copy.kind}-${number}`;
    taken.add(id);
    return { ...copy, id, title: copy.title ? copy.title.replace(/ \d+$/, "") + ` ${number}` : "" };
  });
  bench.store.change({ put }, what);
  bench.select(put.map((path) => path.id));
}
