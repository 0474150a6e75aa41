// @ts-check
/**
 * What lies under the pointer.
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {import("./path.js").Path} Path
 * @typedef {{id: string, path: Path}} Item
 * @typedef {{id: string, part: "corner" | "handle" | "line" | "area", index: number, handle?: "control1" | "control2", t: number, point: Point}} Picked
 *   `index`: of the corner in `vertices(path)`, or of the segment
 */
import { box, encloses, nearest, vertices } from "./path.js";
import { distance } from "./vector.js";

/**
 * Corners before handles before lines before areas; of several areas the smallest. The corners and handles of the
 * selected path alone can be taken hold of, and they win over everything else.
 * @param {Point} pointer @param {readonly Item[]} items in drawing order @param {string | null} selected @param {number} reach
 * @returns {Picked | null}
 */
export function pick(pointer, items, selected, reach) {
  const own = items.find((item) => item.id === selected);
  const held = own ? (pickCorner(pointer, own, reach) ?? pickHandle(pointer, own, reach)) : null;
  return held ?? pickLine(pointer, items, selected, reach) ?? pickArea(pointer, items, reach);
}

/** @param {Point} pointer @param {Item} item @param {number} reach @returns {Picked | null} */
function pickCorner(pointer, { id, path }, reach) {
  /** @type {Picked | null} */
  let best = null;
  let least = reach;
  for (const [index, point] of vertices(path).entries()) {
    const d = distance(point, pointer);
    if (d <= least) [least, best] = [d, { id, part: "corner", index, t: 0, point }];
  }
  return best;
}

/** @param {Point} pointer @param {Item} item @param {number} reach @returns {Picked | null} */
function pickHandle(pointer, { id, path }, reach) {
  for (const [index, segment] of path.segments.entries()) {
    if (segment.type !== "cubic") continue;
    for (const handle of /** @type {const} */ (["control1", "control2"])) {
      const point = segment[handle];
      if (distance(point, pointer) <= reach) return { id, part: "handle", index, handle, t: 0, point };
    }
  }
  return null;
}

/** @param {Point} pointer @param {readonly Item[]} items @param {string | null} selected @param {number} reach @returns {Picked | null} */
function pickLine(pointer, items, selected, reach) {
  /** @type {Picked | null} */
  let best = null;
  let least = reach;
  for (const { id, path } of items) {
    const b = box(path, 1);
    const [x, y] = pointer;
    if (x < b.left - reach || x > b.right + reach || y < b.top - reach || y > b.bottom + reach) continue;
    const found = nearest(path, pointer, 0.25);
    const d = id === selected ? found.distance * 0.8 : found.distance; // a tie goes to what is in hand
    if (d <= least) [least, best] = [d, { id, part: "line", index: found.segment, t: found.t, point: found.point }];
  }
  return best;
}

/** @param {Point} pointer @param {readonly Item[]} items @param {number} reach @returns {Picked | null} */
function pickArea(pointer, items, reach) {
  /** @type {Picked | null} */
  let best = null;
  let least = Infinity;
  for (const { id, path } of items) {
    if (!encloses(path, pointer, Math.max(reach / 4, 0.25))) continue;
    const b = box(path, 1);
    const size = (b.right - b.left) * (b.bottom - b.top);
    if (size < least) [least, best] = [size, { id, part: "area", index: -1, t: 0, point: pointer }];
  }
  return best;
}
