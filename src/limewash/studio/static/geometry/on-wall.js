// @ts-check
/**
 * Paths carried through the wall's plane: mirrored, repeated, and round shapes drawn on it.
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {import("./path.js").Path} Path
 * @typedef {import("./path.js").Arc} Arc
 * @typedef {import("./path.js").Cubic} Cubic
 * @typedef {import("./path.js").Segment} Segment
 * @typedef {import("./perspective.js").Wall} Wall
 */
import { arcPoint, ellipseThrough, endpointForm } from "./arc.js";
import { apply } from "./homography.js";
import { nearest, pointAt, polyline, split } from "./path.js";
import { between, cross, scaled, subtract } from "./vector.js";

/**
 * A path under a plane map. Lines stay lines and arcs stay arcs (of other ellipses) exactly; a cubic is
 * halved until each piece, with its ends and tangents kept, is within 0.05 of the true image.
 * @param {Path} path @param {(p: Point) => Point} map @returns {Path}
 */
export function carried(path, map) {
  return { closed: path.closed, segments: path.segments.flatMap((segment) => carriedSegment(segment, map)) };
}

/** @param {Segment} segment @param {(p: Point) => Point} map @returns {Segment[]} */
function carriedSegment(segment, map) {
  const start = map(segment.start);
  const end = map(segment.end);
  if (segment.type === "line") return [{ type: "line", start, end }];
  if (segment.type === "cubic") return carriedCubic(segment, map, 4);
  const points = Array.from({ length: 13 }, (_, i) => map(pointAt(segment, i / 12)));
  return [arcAlong(points) ?? { ...segment, start, end }];
}

/** @param {Cubic} segment @param {(p: Point) => Point} map @param {number} halvings left @returns {Cubic[]} */
function carriedCubic(segment, map, halvings) {
  const handle = (/** @type {Point} */ from, /** @type {Point} */ to) => {
    const h = 1e-4; // the handle follows the derivative of the map, so that the tangent is exact
    const image = map(from);
    const near = map(between(from, to, h));
    return /** @type {Point} */ ([image[0] + (near[0] - image[0]) / h, image[1] + (near[1] - image[1]) / h]);
  };
  /** @type {Cubic} */
  const whole = {
    type: "cubic",
    start: map(segment.start),
    control1: handle(segment.start, segment.control1),
    control2: handle(segment.end, segment.control2),
    end: map(segment.end),
  };
  const off = nearest({ segments: [whole], closed: false }, map(pointAt(segment, 0.5)), 1e-3).distance;
  if (off < 0.05 || halvings === 0) return [whole];
  return split(segment, 0.5).flatMap((half) => carriedCubic(/** @type {Cubic} */ (half), map, halvings - 1));
}

/**
 * The arc that runs along points of an ellipse, from the first to the last.
 * @param {readonly Point[]} points seven at least, in order @returns {Arc | null}
 */
export function arcAlong(points) {
  let form;
  try {
    form = ellipseThrough(points);
  } catch {
    return null; // too flat to tell: the caller keeps what it had
  }
  const size = cross(form.first, form.second);
  const angle = (/** @type {Point} */ p) => {
    const d = subtract(p, form.centre);
    return Math.atan2(cross(form.first, d) / size, cross(d, form.second) / size);
  };
  let turn = 0;
  for (let i = 1; i < points.length; i++) {
    const step = angle(points[i]) - angle(points[i - 1]);
    turn += step - 2 * Math.PI * Math.round(step / (2 * Math.PI));
  }
  const from = angle(points[0]);
  return { ...endpointForm({ ...form, from, turn }), start: points[0], end: points[points.length - 1] };
}

/** A path mirrored on the wall about the plumb line through `axis`. @param {Path} path @param {Wall} wall @param {Point} axis */
export function mirrored(path, wall, axis) {
  const [x0] = apply(wall.toWall, axis);
  return carried(path, onWall(wall, ([x, y]) => [2 * x0 - x, y]));
}

/**
 * Copies of a path in a row on the wall: the first stays, copy k is moved k times as far as from `from` to `to`.
 * @param {Path} path @param {Wall} wall @param {Point} from @param {Point} to @param {number} copies
 * @returns {Path[]} without the first
 */
export function repeated(path, wall, from, to, copies) {
  const step = subtract(apply(wall.toWall, to), apply(wall.toWall, from));
  return Array.from({ length: copies }, (_, i) => {
    const [dx, dy] = scaled(step, i + 1);
    return carried(path, onWall(wall, ([x, y]) => [x + dx, y + dy]));
  });
}

/** Work done in the wall's coordinates, seen in the photo. @param {Wall} wall @param {(p: Point) => Point} work @returns {(p: Point) => Point} */
const onWall = (wall, work) => (p) => apply(wall.toPhoto, work(apply(wall.toWall, p)));

/**
 * A half-round of the wall over a level foot: the true half circle seen at the photo's slant.
 * @param {Wall} wall @param {Point} left @param {Point} right ends of the foot, in the photo
 * @param {number} [legs] height of upright sides below the round part, as a share of the radius
 * @returns {Path}
 */
export function halfRound(wall, left, right, legs = 0) {
  const [a, b] = [apply(wall.toWall, left), apply(wall.toWall, right)];
  const middle = scaled([a[0] + b[0], a[1] + b[1]], 0.5);
  const half = subtract(a, middle);
  const rise = /** @type {Point} */ (half[0] < 0 ? [half[1], -half[0]] : [-half[1], half[0]]); // upwards
  const lift = scaled(rise, legs);
  const crown = { centre: /** @type {Point} */ ([middle[0] + lift[0], middle[1] + lift[1]]), first: half, second: rise, from: 0, turn: Math.PI };
  const points = Array.from({ length: 17 }, (_, i) => apply(wall.toPhoto, arcPoint(crown, (i * Math.PI) / 16)));
  const arc = arcAlong(points);
  if (!arc) return polyline([left, right], false);
  const foot = legs > 0 ? polyline([arc.end, right, left, arc.start], false) : polyline([right, left], false);
  if (legs <= 0) [arc.start, arc.end] = [left, right];
  return { closed: true, segments: [arc, ...foot.segments] };
}

/** A whole ellipse that fills the rectangle of the wall between two corners of a ring. @param {Wall} wall @param {readonly Point[]} ring @returns {Path | null} */
export function ellipseIn(wall, ring) {
  const [a, c] = [apply(wall.toWall, ring[0]), apply(wall.toWall, ring[2])];
  const form = {
    centre: /** @type {Point} */ ([(a[0] + c[0]) / 2, (a[1] + c[1]) / 2]),
    first: /** @type {Point} */ ([(c[0] - a[0]) / 2, 0]),
    second: /** @type {Point} */ ([0, (c[1] - a[1]) / 2]),
    from: 0,
    turn: 0,
  };
  const half = (/** @type {number} */ from) =>
    arcAlong(Array.from({ length: 17 }, (_, i) => apply(wall.toPhoto, arcPoint(form, from + (i * Math.PI) / 16))));
  const [first, second] = [half(0), half(Math.PI)];
  if (!first || !second) return null;
  return { closed: true, segments: [first, { ...second, start: first.end, end: first.start }] };
}
