// @ts-check
/** Corners and curve handles of the one path in hand, gone through by keys, and what is in hand in words. */
import { handlesOf, vertices, withCorner } from "../geometry/path.js";
import { kindWord } from "./store.js";

/** The next or previous corner. @param {import("./desk.js").Desk} desk @param {1 | -1} step */
export function nextCorner(desk, step) {
  const path = only(desk);
  if (!path) return;
  const count = vertices(path).length;
  desk.select([path.id], desk.corner === null ? (step > 0 ? 0 : count - 1) : (desk.corner + step + count) % count);
}

/** The next handle of its curves. @param {import("./desk.js").Desk} desk */
export function nextHandle(desk) {
  const path = only(desk);
  const all = path ? handlesOf(path) : [];
  if (!path || !all.length) {
    desk.say("Take one curve in hand first: only curves have handles");
    return;
  }
  const now = all.findIndex(({ segment, which }) => segment === desk.handle?.segment && which === desk.handle.which);
  desk.select([path.id], null, all[(now + 1) % all.length]);
}

/** A corner more, in the middle of the line after the corner in hand. @param {import("./desk.js").Desk} desk */
export async function addCorner(desk) {
  const path = only(desk);
  if (!path || desk.store.isLocked(path.id)) {
    desk.say("Take one path in hand first, and a corner of it with N");
    return;
  }
  const index = Math.min(desk.corner ?? 0, path.segments.length - 1);
  if (await desk.store.change({ put: [{ ...path, ...withCorner(path, index, 0.5) }] }, "add a corner")) desk.select([path.id], index + 1);
}

/** For those who hear the page. @param {import("./desk.js").Desk} desk */
export function inHandInWords(desk) {
  const path = only(desk);
  if (!path) return desk.selected.size ? `${desk.selected.size} in hand` : "Nothing in hand";
  const at = heldPoint(desk, path);
  const place = `at ${at[0].toFixed(1)}, ${at[1].toFixed(1)}`;
  if (desk.handle) return `Curve handle ${place}`;
  if (desk.corner !== null) return `Corner ${desk.corner + 1} of ${vertices(path).length} ${place}`;
  return `${path.title || path.id}, ${kindWord(path.kind).toLowerCase()}, in hand ${place}${path.locked ? ", locked" : ""}`;
}

/** The place that coordinates tell of. @param {import("./desk.js").Desk} desk @param {import("./store.js").Traced} path */
function heldPoint(desk, path) {
  const segment = desk.handle && path.segments[desk.handle.segment];
  if (segment?.type === "cubic" && desk.handle) return segment[desk.handle.which];
  const corners = vertices(path);
  return corners[desk.corner ?? 0] ?? corners[0];
}

/** @param {import("./desk.js").Desk} desk */
function only(desk) {
  const [id] = desk.selected;
  return desk.selected.size === 1 ? desk.store.get(id) : undefined;
}
