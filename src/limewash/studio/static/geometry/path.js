// @ts-check
/**
 * Vector paths: straight lines, elliptical arcs and cubic curves, as in SVG and as the server keeps them.
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {{type: "line", start: Point, end: Point}} Line
 * @typedef {{type: "arc", start: Point, end: Point, radius: Point, rotation_deg: number, large: boolean, sweep: boolean}} Arc
 * @typedef {{type: "cubic", start: Point, control1: Point, control2: Point, end: Point}} Cubic
 * @typedef {Line | Arc | Cubic} Segment
 * @typedef {{segments: Segment[], closed: boolean}} Path
 */
import { arcPoint, centreForm, movedArc } from "./arc.js";
import { between, distance, footOnSegment, isInside } from "./vector.js";

/** A chain of straight lines. @param {readonly Point[]} points @param {boolean} closed @returns {Path} */
export function polyline(points, closed) {
  const chain = closed ? [...points, points[0]] : points;
  /** @type {Line[]} */
  const segments = [];
  for (let i = 1; i < chain.length; i++) {
    if (distance(chain[i - 1], chain[i]) > 0) segments.push({ type: "line", start: chain[i - 1], end: chain[i] });
  }
  return { segments, closed };
}

/** The corners of a path, where segments meet; an open one has one more than segments.
 * @param {Path} path @returns {Point[]} */
export function vertices(path) {
  const points = path.segments.map((segment) => segment.start);
  const last = path.segments.at(-1);
  if (!path.closed && last) points.push(last.end);
  return points;
}

/** @param {Segment} segment @param {number} t 0 at its start, 1 at its end @returns {Point} */
export function pointAt(segment, t) {
  if (t <= 0) return segment.start;
  if (t >= 1) return segment.end;
  if (segment.type === "line") return between(segment.start, segment.end, t);
  if (segment.type === "arc") {
    const arc = centreForm(segment);
    return arcPoint(arc, arc.from + arc.turn * t);
  }
  const s = 1 - t;
  const w = [s * s * s, 3 * s * s * t, 3 * s * t * t, t * t * t];
  const p = [segment.start, segment.control1, segment.control2, segment.end];
  return [p.reduce((sum, q, i) => sum + w[i] * q[0], 0), p.reduce((sum, q, i) => sum + w[i] * q[1], 0)];
}

/**
 * A segment as a chain of points within `tolerance` of it, both ends among them.
 * @param {Segment} segment @param {number} tolerance @returns {Point[]}
 */
export function flattenSegment(segment, tolerance) {
  const steps = stepsFor(segment, tolerance);
  return Array.from({ length: steps + 1 }, (_, i) => pointAt(segment, i / steps));
}

/** A path as a chain of points; a closed one does not repeat its first.
 * @param {Path} path @param {number} tolerance @returns {Point[]} */
export function flatten(path, tolerance) {
  const points = path.segments.flatMap((segment) => flattenSegment(segment, tolerance).slice(0, -1));
  const last = path.segments.at(-1);
  if (last && !path.closed) points.push(last.end);
  return points;
}

/** @param {Segment} segment @param {number} tolerance */
function stepsFor(segment, tolerance) {
  if (segment.type === "line") return 1;
  if (segment.type === "arc") {
    const arc = centreForm(segment);
    const radius = Math.max(Math.hypot(...arc.first), Math.hypot(...arc.second));
    const widest = 2 * Math.acos(Math.max(1 - tolerance / radius, 0));
    return Math.max(1, Math.ceil(Math.abs(arc.turn) / widest));
  }
  // Chord error <= h^2 max|B''| / 8, and |B''| is at most 6 times the larger second difference.
  const { start: a, control1: b, control2: c, end: d } = segment;
  const bend = 6 * Math.max(Math.hypot(a[0] - 2 * b[0] + c[0], a[1] - 2 * b[1] + c[1]),
                            Math.hypot(b[0] - 2 * c[0] + d[0], b[1] - 2 * c[1] + d[1])); // prettier-ignore
  return Math.max(1, Math.ceil(Math.sqrt(bend / (8 * tolerance))));
}

/** Every point of a path taken elsewhere. Arcs stay arcs under `move` only if it turns, scales and shifts.
 * @param {Path} path @param {(p: Point) => Point} move @returns {Path} */
export function moved(path, move) {
  return { closed: path.closed, segments: path.segments.map((segment) => movedSegment(segment, move)) };
}

/** @param {Segment} segment @param {(p: Point) => Point} move @returns {Segment} */
function movedSegment(segment, move) {
  const start = move(segment.start);
  const end = move(segment.end);
  if (segment.type === "arc") return movedArc(segment, move);
  if (segment.type === "cubic") {
    return { type: "cubic", start, control1: move(segment.control1), control2: move(segment.control2), end };
  }
  return { type: "line", start, end };
}

/** @param {Path} path @param {Point} by @returns {Path} */
export const shifted = (path, by) => moved(path, (p) => [p[0] + by[0], p[1] + by[1]]);

/**
 * The path with one corner moved; its neighbours follow so that nothing tears. The inner handles of curves go with
 * the corner, and an arc keeps its bulge (see `movedArc`).
 * @param {Path} path @param {number} index of `vertices(path)` @param {Point} to @returns {Path}
 */
export function withVertex(path, index, to) {
  const count = path.segments.length;
  const before = path.closed ? (index - 1 + count) % count : index - 1;
  const segments = path.segments.map((segment, i) => {
    let out = segment;
    if (i === index) out = withEnd(out, "start", to);
    if (i === before) out = withEnd(out, "end", to);
    return out;
  });
  return { closed: path.closed, segments };
}

/** @param {Segment} segment @param {"start" | "end"} which @param {Point} to @returns {Segment} */
function withEnd(segment, which, to) {
  const from = segment[which];
  if (segment.type === "cubic") {
    const handle = which === "start" ? "control1" : "control2";
    const old = segment[handle];
    return { ...segment, [which]: to, [handle]: [old[0] + to[0] - from[0], old[1] + to[1] - from[1]] };
  }
  if (segment.type === "arc") {
    const fixed = which === "start" ? segment.end : segment.start;
    return { ...movedArc(segment, turningAbout(fixed, from, to)), [which]: to };
  }
  return { ...segment, [which]: to };
}

/** The turn and scale about `fixed` that takes `from` to `to`. @param {Point} fixed @param {Point} from @param {Point} to */
function turningAbout(fixed, from, to) {
  const [ax, ay] = [from[0] - fixed[0], from[1] - fixed[1]];
  const [bx, by] = [to[0] - fixed[0], to[1] - fixed[1]];
  const size = ax * ax + ay * ay || 1;
  const [re, im] = [(ax * bx + ay * by) / size, (ax * by - ay * bx) / size];
  /** @type {(p: Point) => Point} */
  return ([x, y]) => {
    const [dx, dy] = [x - fixed[0], y - fixed[1]];
    return [fixed[0] + re * dx - im * dy, fixed[1] + im * dx + re * dy];
  };
}

/** Without one corner; null when nothing worth keeping is left.
 * @param {Path} path @param {number} index @returns {Path | null} */
export function withoutVertex(path, index) {
  const points = vertices(path);
  if (points.length <= (path.closed ? 3 : 2)) return null;
  const count = path.segments.length;
  if (!path.closed && (index === 0 || index === count)) {
    return { closed: false, segments: index === 0 ? path.segments.slice(1) : path.segments.slice(0, -1) };
  }
  const before = (index - 1 + count) % count;
  /** @type {Line} */
  const bridge = { type: "line", start: path.segments[before].start, end: path.segments[index].end };
  return { closed: path.closed, segments: path.segments.flatMap((s, i) => (i === before ? [bridge] : i === index ? [] : [s])) };
}

/** A handle of a curve. @typedef {{segment: number, which: "control1" | "control2"}} Handle */

/** All handles of a path's curves, in order. @param {Path} path @returns {Handle[]} */
export function handlesOf(path) {
  return path.segments.flatMap(({ type }, segment) => (type === "cubic"
    ? [{ segment, which: /** @type {const} */ ("control1") }, { segment, which: /** @type {const} */ ("control2") }] : []));
}

/** With one handle moved; the same path where there is no such curve. @param {Path} path @param {Handle} handle @param {Point} by @returns {Path} */
export function withHandle(path, { segment, which }, by) {
  return { closed: path.closed, segments: path.segments.map((s, i) => (i === segment && s.type === "cubic"
    ? { ...s, [which]: [s[which][0] + by[0], s[which][1] + by[1]] } : s)) };
}

/** With a corner more, on segment `index` at `t`. @param {Path} path @param {number} index @param {number} t @returns {Path} */
export function withCorner(path, index, t) {
  return { closed: path.closed, segments: path.segments.flatMap((s, i) => (i === index ? split(s, t) : [s])) };
}

/** @param {Segment} segment @param {number} t @returns {[Segment, Segment]} */
export function split(segment, t) {
  const at = pointAt(segment, t);
  if (segment.type === "line") {
    return [{ type: "line", start: segment.start, end: at }, { type: "line", start: at, end: segment.end }];
  }
  if (segment.type === "arc") {
    const turn = Math.abs(centreForm(segment).turn);
    return [
      { ...segment, end: at, large: turn * t > Math.PI },
      { ...segment, start: at, large: turn * (1 - t) > Math.PI },
    ];
  }
  const { start, control1, control2, end } = segment;
  const [a, b, c] = [between(start, control1, t), between(control1, control2, t), between(control2, end, t)];
  const [d, e] = [between(a, b, t), between(b, c, t)];
  return [
    { type: "cubic", start, control1: a, control2: d, end: at },
    { type: "cubic", start: at, control1: e, control2: c, end },
  ];
}

/** The same line walked the other way. @param {Path} path @returns {Path} */
export function reversed(path) {
  const segments = path.segments.map((segment) => {
    const turned = { ...segment, start: segment.end, end: segment.start };
    if (turned.type === "arc") turned.sweep = !turned.sweep;
    if (turned.type === "cubic") [turned.control1, turned.control2] = [turned.control2, turned.control1];
    return turned;
  });
  return { closed: path.closed, segments: segments.reverse() };
}

/**
 * The nearest place on a path.
 * @param {Path} path @param {Point} p @param {number} tolerance of the flattening
 * @returns {{distance: number, point: Point, segment: number, t: number}}
 */
export function nearest(path, p, tolerance) {
  let best = { distance: Infinity, point: p, segment: -1, t: 0 };
  path.segments.forEach((segment, index) => {
    const chain = flattenSegment(segment, tolerance);
    for (let i = 1; i < chain.length; i++) {
      const foot = footOnSegment(p, chain[i - 1], chain[i]);
      if (foot.distance < best.distance) {
        best = { distance: foot.distance, point: foot.point, segment: index, t: (i - 1 + foot.t) / (chain.length - 1) };
      }
    }
  });
  return best;
}

/** @param {Path} path @param {Point} p @param {number} tolerance */
export const encloses = (path, p, tolerance) => path.closed && isInside(p, flatten(path, tolerance));

/** Upright box around a path, exact to `tolerance`. @param {Path} path @param {number} [tolerance] */
export function box(path, tolerance = 0.05) {
  const points = flatten(path, tolerance);
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => p[1]);
  return { left: Math.min(...xs), top: Math.min(...ys), right: Math.max(...xs), bottom: Math.max(...ys) };
}

/** Length along a path. @param {Path} path @param {number} [tolerance] */
export function pathLength(path, tolerance = 0.01) {
  const points = flatten(path, tolerance);
  if (path.closed) points.push(points[0]);
  return points.reduce((sum, p, i) => (i ? sum + distance(points[i - 1], p) : 0), 0);
}
