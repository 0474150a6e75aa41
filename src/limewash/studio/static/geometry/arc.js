// @ts-check
/**
 * Elliptical arcs: SVG's endpoint form and the centre form, and their image under plane maps.
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {import("./path.js").Arc} Arc
 * @typedef {{centre: Point, first: Point, second: Point, from: number, turn: number}} CentreArc
 *   centre + first cos u + second sin u, u from `from` over the signed `turn` [rad]
 */
import { solve } from "./homography.js";
import { add, cross, distance, dot, quarterTurn, scaled, subtract, unit } from "./vector.js";

/**
 * Centre form of an arc; radii that are too small to reach are enlarged, as SVG 2 (B.2.5) says.
 * @param {Arc} arc @returns {CentreArc}
 */
export function centreForm(arc) {
  const phi = (arc.rotation_deg * Math.PI) / 180;
  const [c, s] = [Math.cos(phi), Math.sin(phi)];
  let [rx, ry] = [Math.abs(arc.radius[0]), Math.abs(arc.radius[1])];
  const chord = scaled(subtract(arc.start, arc.end), 0.5);
  // In the frame where the ellipse is the unit circle:
  let half = /** @type {Point} */ ([(c * chord[0] + s * chord[1]) / rx, (-s * chord[0] + c * chord[1]) / ry]);
  const reach = dot(half, half);
  let lift = 0;
  if (reach >= 1) {
    const grow = Math.sqrt(reach);
    [rx, ry] = [rx * grow, ry * grow];
    half = scaled(half, 1 / grow);
  } else {
    lift = Math.sqrt((1 - reach) / reach) * (arc.large === arc.sweep ? -1 : 1);
  }
  const inner = /** @type {Point} */ ([half[1] * lift, -half[0] * lift]);
  const first = /** @type {Point} */ ([rx * c, rx * s]);
  const second = /** @type {Point} */ ([-ry * s, ry * c]);
  const from = Math.atan2(half[1] - inner[1], half[0] - inner[0]);
  const to = Math.atan2(-half[1] - inner[1], -half[0] - inner[0]);
  let turn = (((to - from) % (2 * Math.PI)) + 2 * Math.PI) % (2 * Math.PI);
  if (!arc.sweep) turn -= 2 * Math.PI;
  const shift = add(scaled(first, inner[0]), scaled(second, inner[1]));
  return { centre: add(scaled(add(arc.start, arc.end), 0.5), shift), first, second, from, turn };
}

/** @param {CentreArc} arc @param {number} u @returns {Point} */
export const arcPoint = (arc, u) => [
  arc.centre[0] + arc.first[0] * Math.cos(u) + arc.second[0] * Math.sin(u),
  arc.centre[1] + arc.first[1] * Math.cos(u) + arc.second[1] * Math.sin(u),
];

/**
 * Endpoint form of an arc given by any two half axes that are conjugate, not only by right-angled ones.
 * @param {CentreArc} arc @returns {Arc}
 */
export function endpointForm(arc) {
  const { radius, rotation_deg } = principalAxes(arc.first, arc.second);
  return {
    type: "arc",
    start: arcPoint(arc, arc.from),
    end: arcPoint(arc, arc.from + arc.turn),
    radius,
    rotation_deg,
    large: Math.abs(arc.turn) > Math.PI,
    sweep: arc.turn > 0 === cross(arc.first, arc.second) > 0,
  };
}

/** Right-angled half axes of the ellipse with conjugate half axes `a` and `b`. @param {Point} a @param {Point} b */
function principalAxes(a, b) {
  const u = 0.5 * Math.atan2(2 * dot(a, b), dot(a, a) - dot(b, b));
  const long = add(scaled(a, Math.cos(u)), scaled(b, Math.sin(u)));
  const short = subtract(scaled(b, Math.cos(u)), scaled(a, Math.sin(u)));
  const radius = /** @type {Point} */ ([Math.hypot(...long), Math.hypot(...short)]);
  return { radius, rotation_deg: (Math.atan2(long[1], long[0]) * 180) / Math.PI };
}

/** An arc under a map that is affine around it. @param {Arc} arc @param {(p: Point) => Point} move @returns {Arc} */
export function movedArc(arc, move) {
  const form = centreForm(arc);
  const centre = move(form.centre);
  const out = endpointForm({
    ...form,
    centre,
    first: subtract(move(add(form.centre, form.first)), centre),
    second: subtract(move(add(form.centre, form.second)), centre),
  });
  return { ...out, start: move(arc.start), end: move(arc.end), large: arc.large };
}

/**
 * The arc of a circle through three points: start, end, and one between them.
 * @param {Point} start @param {Point} through @param {Point} end
 * @returns {Arc | null} null when the three lie on one line
 */
export function arcThrough(start, through, end) {
  const [b, c] = [subtract(through, start), subtract(end, start)];
  const turn = 2 * cross(b, c);
  const flat = distance(start, end) * 1e-4 * Math.max(Math.hypot(...b), 1e-9);
  if (Math.abs(turn) <= flat) return null;
  const [bb, cc] = [dot(b, b), dot(c, c)];
  const centre = /** @type {Point} */ ([(c[1] * bb - b[1] * cc) / turn, (b[0] * cc - c[0] * bb) / turn]);
  const radius = Math.hypot(...centre);
  const sweep = turn > 0;
  // More than half a turn when the centre lies on the same side of the chord as the arc.
  const large = cross(c, centre) > 0 === cross(c, b) > 0;
  return { type: "arc", start, end, radius: [radius, radius], rotation_deg: 0, large, sweep };
}

/**
 * Half an ellipse over a chord that reaches up to `top`: in a picture of a wall seen at a slant, a half-round
 * window is very nearly this, with the chord and the rise as conjugate half axes.
 * @param {Point} start @param {Point} end @param {Point} top the crown
 * @returns {Arc | null}
 */
export function halfEllipse(start, end, top) {
  const centre = scaled(add(start, end), 0.5);
  const first = subtract(start, centre);
  const second = subtract(top, centre);
  if (Math.abs(cross(first, second)) < 1e-9) return null;
  return { ...endpointForm({ centre, first, second, from: 0, turn: Math.PI }), start, end };
}

/**
 * The ellipse through the four corners' rectangle: touches the middle of each side in the wall's plane.
 * `unitToPicture` takes the square (-1..1, -1..1) to the picture.
 * @param {(p: Point) => Point} unitToPicture @returns {[Arc, Arc]} two half turns that make it whole
 */
export function ellipseFrom(unitToPicture) {
  const conic = ellipseThrough(Array.from({ length: 16 }, (_, i) => unitToPicture([Math.cos((i * Math.PI) / 8), Math.sin((i * Math.PI) / 8)])));
  const whole = { centre: conic.centre, first: conic.first, second: conic.second, from: 0, turn: Math.PI };
  return [endpointForm(whole), endpointForm({ ...whole, from: Math.PI })];
}

/**
 * The ellipse through points that lie on one exactly or nearly (a circle of the wall seen through a lens of no
 * distortion is one exactly): centre and half axes by least squares of A x^2 + B xy + C y^2 + D x + E y = 1.
 * @param {readonly Point[]} points at least five
 * @returns {{centre: Point, first: Point, second: Point}}
 */
export function ellipseThrough(points) {
  const n = points.length;
  const cx = points.reduce((sum, p) => sum + p[0], 0) / n;
  const cy = points.reduce((sum, p) => sum + p[1], 0) / n;
  const size = Math.max(...points.map((p) => Math.hypot(p[0] - cx, p[1] - cy)));
  const rows = Array.from({ length: 5 }, () => new Float64Array(6));
  for (const p of points) {
    const [x, y] = [(p[0] - cx) / size, (p[1] - cy) / size];
    const row = [x * x, x * y, y * y, x, y, 1];
    for (let a = 0; a < 5; a++) for (let b = 0; b < 6; b++) rows[a][b] += row[a] * row[b];
  }
  const solved = solve(rows);
  if (!solved) throw new RangeError("these points lie on no ellipse");
  const [A, B, C, D, E] = solved;
  const four = 4 * A * C - B * B;
  if (!(four > 0)) throw new RangeError("these points lie on no ellipse");
  const [x0, y0] = [(B * E - 2 * C * D) / four, (B * D - 2 * A * E) / four];
  const level = 1 - (A * x0 * x0 + B * x0 * y0 + C * y0 * y0 + D * x0 + E * y0);
  const angle = 0.5 * Math.atan2(B, A - C);
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  const along = A * c * c + B * c * s + C * s * s;
  const acrossAxis = A * s * s - B * c * s + C * c * c;
  const [ra, rb] = [Math.sqrt(level / along) * size, Math.sqrt(level / acrossAxis) * size];
  const axis = unit([c, s]);
  return { centre: [cx + x0 * size, cy + y0 * size], first: scaled(axis, ra), second: scaled(quarterTurn(axis), rb) };
}
