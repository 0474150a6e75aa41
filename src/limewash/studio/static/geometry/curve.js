// @ts-check
/**
 * Smooth curves through clicked points.
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {import("./path.js").Path} Path
 * @typedef {import("./path.js").Cubic} Cubic
 */
import { polyline } from "./path.js";
import { distance } from "./vector.js";

/**
 * Cubic curves through all points with one tangent at each: a centripetal Catmull-Rom spline, which makes no loops
 * where points lie close together.
 * @param {readonly Point[]} clicked @param {boolean} closed @returns {Path}
 */
export function smoothThrough(clicked, closed) {
  const points = clicked.filter((p, i) => i === 0 || distance(p, clicked[i - 1]) > 1e-9);
  if (points.length < 3) return polyline(points, false);
  const n = points.length;
  const count = closed ? n : n - 1;
  const at = (/** @type {number} */ i) => (closed ? points[(i + n) % n] : points[i] ?? mirroredEnd(points, i));
  const segments = Array.from({ length: count }, (_, i) => between(at(i - 1), at(i), at(i + 1), at(i + 2)));
  return { segments, closed };
}

/** A point beyond the end, so that the end's tangent follows its neighbours. @param {readonly Point[]} points @param {number} i @returns {Point} */
function mirroredEnd(points, i) {
  const [end, next] = i < 0 ? [points[0], points[1]] : [points[points.length - 1], points[points.length - 2]];
  return [2 * end[0] - next[0], 2 * end[1] - next[1]];
}

/** @param {Point} a @param {Point} b @param {Point} c @param {Point} d @returns {Cubic} the piece from b to c */
function between(a, b, c, d) {
  const [p, q, r] = [distance(a, b), distance(b, c), distance(c, d)].map((x) => Math.sqrt(Math.max(x, 1e-9)));
  const handle = (/** @type {0 | 1} */ k) => {
    const leaving = (b[k] - a[k]) / p - (c[k] - a[k]) / (p + q) + (c[k] - b[k]) / q;
    const arriving = (c[k] - b[k]) / q - (d[k] - b[k]) / (q + r) + (d[k] - c[k]) / r;
    return [b[k] + (leaving * q) / 3, c[k] - (arriving * q) / 3];
  };
  const [x, y] = [handle(0), handle(1)];
  return { type: "cubic", start: b, control1: [x[0], y[0]], control2: [x[1], y[1]], end: c };
}
