// @ts-check
/**
 * Take hold of what is drawn: select, move, add and take out corners.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 * @typedef {import("../geometry/pick.js").Picked} Picked
 * @typedef {import("./store.js").Traced} Traced
 * @typedef {{picked: Picked, from: Point, before: Traced[], moving: boolean}} Drag
 */
import { moved, shifted, vertices, withCorner, withHandle, withVertex } from "../geometry/path.js";
import { pick } from "../geometry/pick.js";
import { distance, subtract } from "../geometry/vector.js";
import { paintCaught, Tool } from "./tool.js";

const GRIP_PX = 9;
const START_PX = 4;

export class PickTool extends Tool {
  /** @type {Picked | null} */
  hovered = null;
  /** @type {Drag | null} */
  #drag = null;

  get hint() {
    if (this.#drag?.moving) return "Alt moves freely; Esc puts it back";
    if (this.bench.selected.size) return "Drag corners or the whole; arrows nudge; two quick clicks on a line add a corner";
    return "Click a line to take it in hand";
  }

  get busy() {
    return Boolean(this.#drag?.moving);
  }

  /** @param {Point} at */
  #under(at) {
    const items = this.bench.store.paths.map((path) => ({ id: path.id, path }));
    const [only] = this.bench.selected;
    return pick(at, items, this.bench.selected.size === 1 ? only : null, this.bench.board.reach(GRIP_PX));
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  down(at, event) {
    const picked = this.#under(at);
    const { bench } = this;
    this.#drag = null;
    if (!picked) {
      bench.select([]);
      return;
    }
    if (event?.shiftKey) {
      const ids = new Set(bench.selected);
      if (!ids.delete(picked.id)) ids.add(picked.id);
      bench.select([...ids]);
      return;
    }
    const ids = bench.selected.has(picked.id) && picked.part !== "corner" ? [...bench.selected] : [picked.id];
    bench.select(ids, picked.part === "corner" ? picked.index : null);
    if (ids.some((id) => bench.store.isLocked(id))) return;
    const before = bench.store.own.filter((path) => ids.includes(path.id));
    this.#drag = { picked, from: at, before, moving: false };
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  move(at, event) {
    const drag = this.#drag;
    if (!drag) {
      this.hovered = this.#under(at);
      this.bench.board.style.cursor = this.hovered ? (this.hovered.part === "corner" || this.hovered.part === "handle" ? "crosshair" : "move") : "";
      return;
    }
    if (!drag.moving && distance(at, drag.from) < this.bench.board.reach(START_PX)) return;
    drag.moving = true;
    for (const path of this.#dragged(at, event, drag)) this.bench.store.drag(path);
  }

  /** @param {Point} at @param {PointerEvent | null} event @param {Drag} drag @returns {Traced[]} */
  #dragged(at, event, { picked, from, before }) {
    const ids = before.map((path) => path.id);
    const [own] = before;
    if (picked.part === "corner") {
      const corners = vertices(own);
      const neighbour = corners[(picked.index + corners.length - 1) % corners.length];
      this.caught = this.bench.catch(at, event, event?.shiftKey ? picked.point : neighbour, [], ids);
      return [{ ...own, ...withVertex(own, picked.index, this.caught.point) }];
    }
    this.caught = null;
    if (picked.part === "handle" && picked.handle) {
      const segments = own.segments.map((segment, i) => (i === picked.index ? { ...segment, [/** @type {string} */ (picked.handle)]: at } : segment));
      return [{ ...own, segments }];
    }
    const by = subtract(at, from);
    if (event?.shiftKey) by[Math.abs(by[0]) > Math.abs(by[1]) ? 1 : 0] = 0;
    return before.map((path) => ({ ...path, ...shifted(path, by) }));
  }

  up() {
    const drag = this.#drag;
    this.#drag = null;
    this.caught = null;
    if (!drag?.moving) return;
    const put = drag.before.map(({ id }) => this.bench.store.get(id)).filter((path) => path !== undefined);
    this.bench.store.change({ put }, drag.picked.part === "corner" ? "move corner" : drag.picked.part === "handle" ? "bend curve" : "move");
  }

  /** @param {Point} at */
  twice(at) {
    const picked = this.#under(at);
    const path = picked && this.bench.store.get(picked.id);
    if (!path || picked.part !== "line" || this.bench.store.isLocked(path.id)) return;
    const put = { ...path, ...withCorner(path, picked.index, picked.t) };
    this.bench.store.change({ put: [put] }, "add a corner");
    this.bench.select([path.id], picked.index + 1);
  }

  stop() {
    const drag = this.#drag;
    this.#drag = null;
    if (drag?.moving) {
      for (const path of drag.before) this.bench.store.dropDrag(path.id);
      return true;
    }
    if (this.bench.selected.size) {
      this.bench.select([]);
      return true;
    }
    return false;
  }

  leave() {
    super.leave();
    this.hovered = null;
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    paintCaught(painter, this.caught);
  }
}

/** All selected paths, or the corner or handle in hand, moved by photo pixels. @param {import("./tool.js").Bench} bench @param {Point} by */
export function nudged(bench, by) {
  const free = [...bench.selected].filter((id) => !bench.store.isLocked(id)).map((id) => bench.store.get(id)).filter((path) => path !== undefined);
  if (free.length === 1 && bench.handle) return [{ ...free[0], ...withHandle(free[0], bench.handle, by) }];
  if (free.length === 1 && bench.corner !== null) {
    const corner = vertices(free[0])[bench.corner];
    if (corner) return [{ ...free[0], ...withVertex(free[0], bench.corner, [corner[0] + by[0], corner[1] + by[1]]) }];
  }
  return free.map((path) => ({ ...path, ...moved(path, (p) => [p[0] + by[0], p[1] + by[1]]) }));
}
