// @ts-check
/**
 * Points and directions in a plane.
 *
 * Pixel coordinates as everywhere: the CENTRE of the first pixel is (0, 0), x to the right, y down.
 *
 * @typedef {[number, number]} Point
 */

/** @type {(a: Point, b: Point) => Point} */
export const add = (a, b) => [a[0] + b[0], a[1] + b[1]];

/** @type {(a: Point, b: Point) => Point} */
export const subtract = (a, b) => [a[0] - b[0], a[1] - b[1]];

/** @type {(a: Point, by: number) => Point} */
export const scaled = (a, by) => [a[0] * by, a[1] * by];

/** @type {(a: Point, b: Point) => number} */
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1];

/** Third component of the cross product: positive when b turns clockwise from a on the screen.
 * @type {(a: Point, b: Point) => number} */
export const cross = (a, b) => a[0] * b[1] - a[1] * b[0];

/** @type {(a: Point) => number} */
export const length = (a) => Math.hypot(a[0], a[1]);

/** @type {(a: Point, b: Point) => number} */
export const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

/** @type {(a: Point, b: Point, t: number) => Point} */
export const between = (a, b, t) => [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];

/** @type {(a: Point, b: Point) => Point} */
export const middle = (a, b) => between(a, b, 0.5);

/** Of length 1; a direction of no length stays (0, 0).
 * @type {(a: Point) => Point} */
export function unit(a) {
  const size = length(a);
  return size > 0 ? [a[0] / size, a[1] / size] : [0, 0];
}

/** Turned by a quarter, clockwise on the screen.
 * @type {(a: Point) => Point} */
export const quarterTurn = (a) => [-a[1], a[0]];

/**
 * Where a point falls on the endless line through `a` and `b`.
 * @param {Point} p @param {Point} a @param {Point} b
 * @returns {{point: Point, t: number, distance: number}} `t` is 0 at a and 1 at b
 */
export function footOnLine(p, a, b) {
  const along = subtract(b, a);
  const size = dot(along, along);
  const t = size > 0 ? dot(subtract(p, a), along) / size : 0;
  const point = between(a, b, t);
  return { point, t, distance: distance(p, point) };
}

/** As `footOnLine`, kept between the two ends.
 * @param {Point} p @param {Point} a @param {Point} b */
export function footOnSegment(p, a, b) {
  const t = Math.min(1, Math.max(0, footOnLine(p, a, b).t));
  const point = between(a, b, t);
  return { point, t, distance: distance(p, point) };
}

/**
 * Where two endless lines meet.
 * @param {Point} a @param {Point} b a line through two points
 * @param {Point} c @param {Point} d another
 * @returns {Point | null} null when they are parallel to within 1e-9 of their lengths
 */
export function crossing(a, b, c, d) {
  const first = subtract(b, a);
  const second = subtract(d, c);
  const turn = cross(first, second);
  if (Math.abs(turn) <= 1e-9 * length(first) * length(second)) return null;
  const t = cross(subtract(c, a), second) / turn;
  return between(a, b, t);
}

/** Twice the signed area of a ring: positive when it runs clockwise on the screen.
 * @param {readonly Point[]} ring */
export function doubleArea(ring) {
  let sum = 0;
  for (let i = 0; i < ring.length; i++) sum += cross(ring[i], ring[(i + 1) % ring.length]);
  return sum;
}

/** Whether a point lies inside a ring (even-odd).
 * @param {Point} p @param {readonly Point[]} ring */
export function isInside(p, ring) {
  let inside = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const [xi, yi] = ring[i];
    const [xj, yj] = ring[j];
    if (yi > p[1] !== yj > p[1] && p[0] < ((xj - xi) * (p[1] - yi)) / (yj - yi) + xi) inside = !inside;
  }
  return inside;
}
