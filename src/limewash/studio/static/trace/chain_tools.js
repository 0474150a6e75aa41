// @ts-check
/**
 * Tools that set one point after the other: lines, smooth curves, the live wire.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 * @typedef {import("../geometry/path.js").Path} Path
 * @typedef {import("../geometry/path.js").Segment} Segment
 */
import { smoothThrough } from "../geometry/curve.js";
import { pointAt, polyline } from "../geometry/path.js";
import { distance } from "../geometry/vector.js";
import { paintCaught, Tool } from "./tool.js";

const SAME_PX = 3;
const CLOSING_PX = 10;

/** Points clicked one after the other; a click on the first one closes, Enter or two quick clicks end. */
export class ChainTool extends Tool {
  /** @type {Point[]} */
  points = [];

  get busy() {
    return this.points.length > 0;
  }

  /** @param {readonly Point[]} points @param {boolean} closed @returns {Path} */
  made(points, closed) {
    return polyline(points, closed);
  }

  /** @returns {string} */
  get hint() {
    if (!this.points.length) return "Click the first corner";
    if (this.points.length < 3) return "Click on; Enter ends an open line, Backspace takes a point back";
    return "Click on; the first corner or Shift+Enter closes, Enter ends an open line";
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  move(at, event) {
    this.caught = this.bench.catch(at, event, this.points.at(-1) ?? null, this.points);
    if (this.#closes(at)) this.caught = { point: this.points[0], kind: "corner", guides: [] };
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  down(at, event) {
    this.move(at, event);
    const point = this.caught?.point ?? at;
    if (this.#closes(at)) {
      this.#finish(true);
      return;
    }
    const last = this.points.at(-1);
    if (last && distance(last, point) < this.bench.board.reach(SAME_PX)) return; // the second of two quick clicks
    this.points.push(point);
  }

  twice() {
    if (this.points.length > 1) this.#finish(false);
  }

  end() {
    if (this.points.length > 1) this.#finish(false);
  }

  close() {
    if (this.points.length > 2) this.#finish(true);
  }

  stop() {
    const was = this.busy;
    this.points = [];
    return was;
  }

  back() {
    return this.points.pop() !== undefined;
  }

  /** @param {Point} at */
  #closes(at) {
    return this.points.length > 2 && distance(at, this.points[0]) < this.bench.board.reach(CLOSING_PX);
  }

  /** @param {boolean} closed */
  #finish(closed) {
    const path = this.made(this.points, closed);
    this.points = [];
    this.caught = null;
    if (path.segments.length) this.bench.finish(path);
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    const next = this.caught?.point;
    const chain = next ? [...this.points, next] : this.points;
    if (chain.length > 1) painter.traced(this.made(chain, false), this.bench.kind, { selected: true });
    this.points.forEach((point, n) => painter.spot(point, n ? 3 : 5, painter.colour("--mark"), "round"));
    paintCaught(painter, this.caught);
  }
}

export class CurveTool extends ChainTool {
  /** @param {readonly Point[]} points @param {boolean} closed */
  made(points, closed) {
    return smoothThrough(points, closed);
  }

  get hint() {
    return this.busy ? "Click along the curve; Enter ends it, the first point or Shift+Enter closes it" : "Click points along a curve";
  }
}

/** Finds its way along edges from click to click. */
export class WireTool extends Tool {
  /** @type {Segment[]} */
  #fixed = [];
  /** @type {Segment[]} */
  #found = [];
  /** @type {Point | null} */
  #from = null;
  /** @type {Point | null} where the way is wanted to, while one is asked for */
  #wanted = null;
  #asking = false;
  /** Settles when all that was wanted has been answered. @type {Promise<void>} */
  #answered = Promise.resolve();
  /** Whether a click waits for the way to it; the pointer does not count meanwhile. */
  #holding = false;

  get busy() {
    return this.#from !== null;
  }

  get hint() {
    return this.busy ? "Move along the edge and click to hold it; Enter ends, the start closes" : "Click where an edge begins";
  }

  /** @param {Point} at */
  move(at) {
    if (!this.#from || this.#holding) return;
    this.#wanted = at;
    if (!this.#asking) this.#answered = this.#ask();
  }

  /** A click holds what will be found up to it, also when that is still being looked for. @param {Point} at */
  async down(at) {
    if (!this.#from) {
      this.#from = at;
      return;
    }
    if (this.#holding) return;
    const from = this.#from;
    this.move(at);
    this.#holding = true;
    await this.#answered;
    this.#holding = false;
    if (this.#from !== from) return;
    const first = this.#fixed[0]?.start;
    const closes = first && distance(at, first) < this.bench.board.reach(CLOSING_PX);
    this.#fixed.push(...this.#found);
    this.#found = [];
    const end = this.#fixed.at(-1)?.end;
    if (closes) this.#close();
    else if (end) this.#from = end;
  }

  async close() {
    await this.#answered;
    this.#close();
  }

  #close() {
    const [start, end] = [this.#fixed[0]?.start, this.#fixed.at(-1)?.end];
    if (!start || !end) return;
    if (distance(end, start) > 0) this.#fixed.push({ type: "line", start: end, end: start });
    this.#finish(true);
  }

  twice() {
    this.end();
  }

  async end() {
    await this.#answered;
    if (this.#fixed.length) this.#finish(false);
  }

  stop() {
    const was = this.busy;
    this.#from = null;
    this.#fixed = this.#found = [];
    return was;
  }

  back() {
    if (!this.#fixed.length) return this.stop();
    this.#fixed.pop();
    this.#from = this.#fixed.at(-1)?.end ?? this.#from;
    this.#found = [];
    return true;
  }

  async #ask() {
    this.#asking = true;
    while (this.#wanted && this.#from) {
      const [start, to] = [this.#from, this.#wanted];
      this.#wanted = null;
      try {
        const answer = await this.bench.studio.api.post("/api/trace/wire", { start, to, photo: this.bench.photo });
        if (this.#from === start) this.#found = joined(answer.segments, this.#fixed.at(-1)?.end ?? null);
      } catch (error) {
        this.bench.say(/** @type {Error} */ (error).message, "care");
        break;
      }
      this.bench.board.redraw();
    }
    this.#asking = false;
  }

  /** @param {boolean} closed */
  #finish(closed) {
    const segments = this.#fixed;
    this.stop();
    this.bench.finish({ segments, closed });
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    const segments = [...this.#fixed, ...this.#found];
    if (segments.length) painter.traced({ segments, closed: false }, this.bench.kind, { selected: true });
    for (const segment of this.#fixed) painter.spot(pointAt(segment, 1), 3, painter.colour("--mark"), "round");
    if (this.#from) painter.spot(this.#fixed[0]?.start ?? this.#from, 5, painter.colour("--mark"), "round");
  }
}

/** The first segment begins where the last one ended. @param {Segment[]} segments @param {Point | null} start */
function joined(segments, start) {
  if (!segments.length || !start) return segments;
  return [{ ...segments[0], start }, ...segments.slice(1)];
}
