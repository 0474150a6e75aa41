// @ts-check
/**
 * Where a pointer means to be: corners, middles, crossings, lines and their extensions, level and plumb.
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {import("./path.js").Path} Path
 * @typedef {import("./perspective.js").Wall} Wall
 * @typedef {"corner" | "middle" | "crossing" | "line" | "extension" | "parallel" | "level" | "plumb" | "free"} Catch
 * @typedef {{through: Point, toward: Point, kind: Catch}} Guide an endless line, drawn dotted while it holds the pointer
 * @typedef {{point: Point, kind: Catch, guides: Guide[]}} Caught
 * @typedef {{paths: readonly Path[], wall: Wall | null, from: Point | null, chain: readonly Point[], reach: number}} Surroundings
 *   `from`: the last point set, which new lines leave from; `chain`: what is being drawn; `reach` in photo pixels
 */
import { flattenSegment, pointAt, vertices } from "./path.js";
import { directionAt } from "./perspective.js";
import { crossing, distance, footOnLine, footOnSegment } from "./vector.js";

/** How near counts, by kind, as a share of the reach: exact places pull harder than lines. */
const PULL = { corner: 1, crossing: 1, middle: 0.8, line: 0.75, level: 0.6, plumb: 0.6, parallel: 0.5, extension: 0.5, free: 0 };

/**
 * @param {Point} pointer @param {Surroundings} around
 * @returns {Caught}
 */
export function caught(pointer, around) {
  const place = nearestPlace(pointer, around);
  if (place) return place;
  const guides = guidesNear(pointer, around);
  const cross = bestCrossing(pointer, guides, around.reach);
  if (cross) return cross;
  const line = nearestLine(pointer, around);
  if (line && (!guides.length || line.distance <= guides[0].distance + 1e-6)) {
    return crossingOnLine(pointer, line, guides, around.reach) ?? { point: line.point, kind: "line", guides: [] };
  }
  if (guides.length) return { point: guides[0].point, kind: guides[0].guide.kind, guides: [guides[0].guide] };
  return { point: pointer, kind: "free", guides: [] };
}

/** @param {Point} pointer @param {Surroundings} around @returns {Caught | null} */
function nearestPlace(pointer, { paths, chain, reach }) {
  /** @type {Caught | null} */
  let best = null;
  let least = 1;
  const offer = (/** @type {Point} */ point, /** @type {"corner" | "middle"} */ kind) => {
    const cost = distance(point, pointer) / (reach * PULL[kind]) + (kind === "middle" ? 0.15 : 0);
    if (cost < least) [least, best] = [cost, { point, kind, guides: [] }];
  };
  for (const path of paths) {
    for (const point of vertices(path)) offer(point, "corner");
    for (const segment of path.segments) offer(pointAt(segment, 0.5), "middle");
  }
  for (const point of chain.slice(0, -1)) offer(point, "corner");
  return best;
}

/** @param {Point} pointer @param {Surroundings} around */
function nearestLine(pointer, { paths, reach }) {
  const limit = reach * PULL.line;
  /** @type {{point: Point, distance: number, a: Point, b: Point} | null} */
  let best = null;
  for (const path of paths) {
    for (const segment of path.segments) {
      const chain = flattenSegment(segment, 0.25);
      for (let i = 1; i < chain.length; i++) {
        const foot = footOnSegment(pointer, chain[i - 1], chain[i]);
        if (foot.distance < (best?.distance ?? limit)) best = { ...foot, a: chain[i - 1], b: chain[i] };
      }
    }
  }
  return best;
}

/**
 * Endless lines that pass near the pointer, nearest first.
 * @param {Point} pointer @param {Surroundings} around
 */
function guidesNear(pointer, around) {
  return candidateGuides(pointer, around)
    .map((guide) => {
      const foot = footOnLine(pointer, guide.through, guide.toward);
      return { guide, point: foot.point, distance: foot.distance };
    })
    .filter((near) => near.distance < around.reach * PULL[near.guide.kind])
    .sort((a, b) => a.distance / PULL[a.guide.kind] - b.distance / PULL[b.guide.kind]);
}

/** @param {Point} pointer @param {Surroundings} around @returns {Guide[]} */
function candidateGuides(pointer, { paths, wall, from, chain, reach }) {
  /** @type {Guide[]} */
  const guides = [];
  const levelAndPlumb = (/** @type {Point} */ at) => {
    guides.push({ through: at, toward: step(at, wall ? directionAt(wall.across, at) : [1, 0]), kind: "level" });
    guides.push({ through: at, toward: step(at, wall ? directionAt(wall.up, at) : [0, 1]), kind: "plumb" });
  };
  if (from) levelAndPlumb(from);
  if (chain.length > 1) levelAndPlumb(chain[0]);
  for (const path of paths) {
    for (const segment of path.segments) {
      if (segment.type !== "line" || distance(segment.start, segment.end) < 2 * reach) continue;
      const away = Math.min(distance(pointer, segment.start), distance(pointer, segment.end));
      if (away < 40 * reach) guides.push({ through: segment.start, toward: segment.end, kind: "extension" });
      if (from && away < 25 * reach) {
        const along = /** @type {Point} */ ([segment.end[0] - segment.start[0], segment.end[1] - segment.start[1]]);
        guides.push({ through: from, toward: [from[0] + along[0], from[1] + along[1]], kind: "parallel" });
      }
    }
  }
  return guides;
}

/** @param {Point} at @param {Point} way @returns {Point} */
const step = (at, way) => [at[0] + way[0] * 100, at[1] + way[1] * 100];

/** @param {Point} pointer @param {{guide: Guide}[]} near @param {number} reach @returns {Caught | null} */
function bestCrossing(pointer, near, reach) {
  /** @type {Caught | null} */
  let best = null;
  let least = reach * PULL.crossing;
  const few = near.slice(0, 8);
  for (const [i, { guide: a }] of few.entries()) {
    for (const { guide: b } of few.slice(i + 1)) {
      if (leansLittle(a, b)) continue;
      const point = crossing(a.through, a.toward, b.through, b.toward);
      if (point && distance(point, pointer) < least) {
        least = distance(point, pointer);
        best = { point, kind: "crossing", guides: [a, b] };
      }
    }
  }
  return best;
}

/** Lines that lean less than ten degrees on each other cross where nobody means. @param {Guide} a @param {Guide} b */
function leansLittle(a, b) {
  const [ux, uy] = [a.toward[0] - a.through[0], a.toward[1] - a.through[1]];
  const [vx, vy] = [b.toward[0] - b.through[0], b.toward[1] - b.through[1]];
  return Math.abs(ux * vy - uy * vx) < Math.sin(Math.PI / 18) * Math.hypot(ux, uy) * Math.hypot(vx, vy);
}

/** @param {Point} pointer @param {{a: Point, b: Point}} line @param {{guide: Guide}[]} near @param {number} reach @returns {Caught | null} */
function crossingOnLine(pointer, line, near, reach) {
  for (const { guide } of near) {
    if (leansLittle({ through: line.a, toward: line.b, kind: "line" }, guide)) continue;
    const point = crossing(line.a, line.b, guide.through, guide.toward);
    if (point && distance(point, pointer) < reach) return { point, kind: "crossing", guides: [guide] };
  }
  return null;
}
