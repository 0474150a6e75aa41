// @ts-check
/**
 * A flat wall in a picture: where its level and plumb lines run to, rectangles on it, and its measure.
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {import("./homography.js").Matrix3} Matrix3
 * @typedef {[number, number, number]} Homogeneous a point that may lie at infinity: (x, y, w)
 * @typedef {{across: Homogeneous, up: Homogeneous, toPhoto: Matrix3, toWall: Matrix3, metric: boolean}} Wall
 *   `toPhoto` takes wall coordinates (x to the right, y up) to the picture; they are metres when `metric`
 */
import { apply, fit, inverse, solve } from "./homography.js";
import { crossing, distance, dot, subtract, unit } from "./vector.js";

/** Four clicks in any order as a ring: upper left, upper right, lower right, lower left.
 * @param {readonly Point[]} clicks @returns {Point[]} */
export function asRing(clicks) {
  const cx = clicks.reduce((sum, p) => sum + p[0], 0) / clicks.length;
  const cy = clicks.reduce((sum, p) => sum + p[1], 0) / clicks.length;
  const angle = (/** @type {Point} */ p) => Math.atan2(p[1] - cy, p[0] - cx);
  const ring = [...clicks].sort((a, b) => angle(a) - angle(b)); // clockwise on the screen
  const first = ring.reduce((best, p, i) => (p[0] + p[1] < ring[best][0] + ring[best][1] ? i : best), 0);
  return [...ring.slice(first), ...ring.slice(0, first)];
}

/** @param {Homogeneous} a @param {Homogeneous} b @returns {Homogeneous} the line through two points, or their crossing */
const join = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];

/** @param {Point} p @returns {Homogeneous} */
const lifted = (p) => [p[0], p[1], 1];

/** Which way lines to a vanishing point run at `p`: of length 1, the sign is not told.
 * @param {Homogeneous} vanishing @param {Point} p @returns {Point} */
export const directionAt = (vanishing, p) =>
  unit([vanishing[0] - vanishing[2] * p[0], vanishing[1] - vanishing[2] * p[1]]);

/**
 * The point in which lines meet best, by least squares of the lines' normals.
 * @param {readonly (readonly [Point, Point])[]} lines two at least; long ones count more
 * @param {Point} centre @param {number} size about the picture's middle and width: it keeps the digits
 * @returns {Homogeneous}
 */
export function vanishingOf(lines, centre, size) {
  const scatter = [new Float64Array(3), new Float64Array(3), new Float64Array(3)];
  for (const [a, b] of lines) {
    const near = (/** @type {Point} */ p) => lifted([(p[0] - centre[0]) / size, (p[1] - centre[1]) / size]);
    const l = join(near(a), near(b)); // its length is that of the line, so that long lines count more
    for (let i = 0; i < 3; i++) for (let j = 0; j < 3; j++) scatter[i][j] += l[i] * l[j];
  }
  const v = smallestDirection(scatter);
  return [v[0] * size + v[2] * centre[0], v[1] * size + v[2] * centre[1], v[2]];
}

/** Eigenvector of the smallest eigenvalue of a symmetric 3x3 matrix, by inverse iteration.
 * @param {Float64Array[]} matrix @returns {Homogeneous} */
function smallestDirection(matrix) {
  const ridge = 1e-10 * (matrix[0][0] + matrix[1][1] + matrix[2][2]) + 1e-300;
  /** @type {number[]} */
  let v = [0.5, 0.6, 0.62];
  for (let round = 0; round < 40; round++) {
    const rows = matrix.map((row, i) => Float64Array.of(...row.map((x, j) => x + (i === j ? ridge : 0)), v[i]));
    const next = solve(rows.map((row) => row.map((x) => x / ridge)));
    if (!next) break;
    const size = Math.hypot(...next);
    v = next.map((x) => x / size);
  }
  return /** @type {Homogeneous} */ (v);
}

/**
 * The wall that carries a rectangle seen as a four-sided ring (see `asRing`).
 * @param {readonly Point[]} ring @param {Point} photoSize
 * @returns {Wall}
 */
export function wallFromRing([a, b, c, d], photoSize) {
  const across = join(join(lifted(a), lifted(b)), join(lifted(d), lifted(c)));
  const up = join(join(lifted(a), lifted(d)), join(lifted(b), lifted(c)));
  return wallFromDirections(across, up, photoSize, d);
}

/**
 * The wall through `origin` whose level and plumb lines run to two vanishing points.
 *
 * The picture is taken to have square pixels and its optical axis in the middle; the focal length follows from the
 * two directions being at right angles on the wall. When they lie too far away to tell it, 0.9 of the width is
 * taken: then it hardly matters. The unit is not known until one length is (see `withLength`).
 * @param {Homogeneous} across @param {Homogeneous} up @param {Point} photoSize @param {Point} origin
 * @returns {Wall}
 */
export function wallFromDirections(across, up, photoSize, origin) {
  const centre = /** @type {Point} */ ([(photoSize[0] - 1) / 2, (photoSize[1] - 1) / 2]);
  const focal = focalLength(across, up, centre) ?? 0.9 * photoSize[0];
  const ray = (/** @type {Homogeneous} */ v) => [(v[0] - v[2] * centre[0]) / focal, (v[1] - v[2] * centre[1]) / focal, v[2]];
  const x = facing(ray(across), 0, 1);
  const y = facing(ray(up), 1, -1);
  const o = ray(lifted(origin));
  const toPhoto = /** @type {Matrix3} */ (
    [0, 1].flatMap((row) => [x, y, o].map((v) => v[row] * focal + v[2] * centre[row])).concat([x[2], y[2], o[2]])
  );
  return { across, up, toPhoto, toWall: inverse(toPhoto), metric: false };
}

/** Of length 1, with component `axis` of the given sign. @param {number[]} v @param {number} axis @param {number} sign */
function facing(v, axis, sign) {
  const size = Math.hypot(...v) * (v[axis] * sign < 0 ? -1 : 1);
  return v.map((part) => part / size);
}

/** @param {Homogeneous} across @param {Homogeneous} up @param {Point} centre */
function focalLength(across, up, centre) {
  const [ax, ay] = [across[0] - across[2] * centre[0], across[1] - across[2] * centre[1]];
  const [bx, by] = [up[0] - up[2] * centre[0], up[1] - up[2] * centre[1]];
  const weight = across[2] * up[2];
  const square = -(ax * bx + ay * by) / weight;
  const low = (0.4 * 2 * centre[0]) ** 2;
  const high = (4 * 2 * centre[0]) ** 2;
  return square > low && square < high ? Math.sqrt(square) : null;
}

/**
 * The wall from points measured with a tape.
 * @param {readonly {wall_m: Point, photo_px: Point}[]} measured four at least
 * @returns {Wall | null}
 */
export function wallFromMeasured(measured) {
  const toPhoto = fit(measured.map((m) => m.wall_m), measured.map((m) => m.photo_px)); // prettier-ignore
  if (!toPhoto) return null;
  const column = (/** @type {number} */ i) => /** @type {Homogeneous} */ ([toPhoto[i], toPhoto[3 + i], toPhoto[6 + i]]);
  return { across: column(0), up: column(1), toPhoto, toWall: inverse(toPhoto), metric: true };
}

/** The same wall in metres, once the line between two of its points is known to be so long.
 * @param {Wall} wall @param {Point} a @param {Point} b photo points @param {number} length_m @returns {Wall} */
export function withLength(wall, a, b, length_m) {
  const now = distance(apply(wall.toWall, a), apply(wall.toWall, b));
  const s = now / length_m; // so many old units in a metre
  const [m0, m1, m2, m3, m4, m5, m6, m7, m8] = wall.toPhoto;
  const toPhoto = /** @type {Matrix3} */ ([m0 * s, m1 * s, m2, m3 * s, m4 * s, m5, m6 * s, m7 * s, m8]);
  return { ...wall, toPhoto, toWall: inverse(toPhoto), metric: true };
}

/** Distance on the wall between two photo points, in metres once it is metric. @param {Wall} wall @param {Point} a @param {Point} b */
export const wallDistance = (wall, a, b) => distance(apply(wall.toWall, a), apply(wall.toWall, b));

/**
 * A rectangle of the wall from two opposite corners, as a ring.
 * @param {Wall} wall @param {Point} p @param {Point} q
 * @returns {Point[] | null} null when they do not span one
 */
export function rectangleBetween(wall, p, q) {
  const along = (/** @type {Point} */ at, /** @type {Homogeneous} */ v) => {
    const d = directionAt(v, at);
    return /** @type {Point} */ ([at[0] + d[0] * 100, at[1] + d[1] * 100]);
  };
  const second = crossing(p, along(p, wall.across), q, along(q, wall.up));
  const fourth = crossing(p, along(p, wall.up), q, along(q, wall.across));
  return second && fourth ? asRing([p, second, q, fourth]) : null;
}

/** Whether a ring of four is convex, with no three corners in line: only then it can be a rectangle seen at a slant.
 * @param {readonly Point[]} ring */
export function isConvex(ring) {
  const turns = ring.map((p, i) => {
    const a = subtract(ring[(i + 1) % ring.length], p);
    const b = subtract(ring[(i + 2) % ring.length], ring[(i + 1) % ring.length]);
    return (a[0] * b[1] - a[1] * b[0]) / Math.sqrt(dot(a, a) * dot(b, b) || 1);
  });
  return turns.every((t) => t > 0.02) || turns.every((t) => t < -0.02);
}
