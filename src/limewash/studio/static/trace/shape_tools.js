// @ts-check
/**
 * Tools for whole shapes on the wall: rectangle, ellipse, half-round, arc.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 * @typedef {import("../geometry/path.js").Path} Path
 */
import { arcThrough, halfEllipse } from "../geometry/arc.js";
import { apply } from "../geometry/homography.js";
import { ellipseIn, halfRound } from "../geometry/on-wall.js";
import { polyline } from "../geometry/path.js";
import { asRing, isConvex, rectangleBetween, wallFromRing } from "../geometry/perspective.js";
import { distance } from "../geometry/vector.js";
import { paintCaught, Tool } from "./tool.js";

/** Sets a fixed number of points, then makes a path of them. */
class PointsTool extends Tool {
  /** @type {Point[]} */
  points = [];

  get busy() {
    return this.points.length > 0;
  }

  /** How many points it takes. */
  get count() {
    return 2;
  }

  /** @param {readonly Point[]} _points as many as there are with the pointer @returns {Path | null} */
  made(_points) {
    return null;
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  move(at, event) {
    this.caught = this.bench.catch(at, event, this.points.at(-1) ?? null, this.points);
  }

  /** @param {Point} at @param {PointerEvent | null} event */
  down(at, event) {
    this.move(at, event);
    const point = this.caught?.point ?? at;
    const last = this.points.at(-1);
    if (last && distance(last, point) < this.bench.board.reach(3)) return;
    this.points.push(point);
    if (this.points.length < this.count) return;
    const path = this.made(this.points);
    const points = this.points;
    this.points = [];
    this.caught = null;
    if (path) {
      this.finished(points);
      this.bench.finish(path);
    } else {
      this.bench.say("These points make no such shape; click them again", "care");
    }
  }

  /** @param {readonly Point[]} _points */
  finished(_points) {}

  stop() {
    const was = this.busy;
    this.points = [];
    return was;
  }

  back() {
    return this.points.pop() !== undefined;
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    const next = this.caught?.point;
    const points = next ? [...this.points, next] : this.points;
    const path = points.length > 1 ? this.made(points) : null;
    if (path) painter.traced(path, this.bench.kind, { selected: true });
    for (const point of this.points) painter.spot(point, 4, painter.colour("--mark"), "round");
    paintCaught(painter, this.caught);
  }
}

/** Two opposite corners: the wall's level and plumb lines give the others. */
export class RectangleTool extends PointsTool {
  get hint() {
    return this.busy ? "Click the opposite corner" : "Click a corner of a window or door; level and plumb follow the wall";
  }

  /** @param {readonly Point[]} points */
  made(points) {
    const [a, b] = points;
    const { wall } = this.bench;
    if (!wall) return polyline([a, [b[0], a[1]], b, [a[0], b[1]]], true);
    const ring = rectangleBetween(wall, a, b);
    return ring ? polyline(ring, true) : null;
  }
}

/** Four corners of a rectangle: from them the wall's directions are known. */
export class FourCornersTool extends PointsTool {
  get count() {
    return 4;
  }

  get hint() {
    const left = 4 - this.points.length;
    return this.busy ? `${left} ${left > 1 ? "corners" : "corner"} to go` : "Click the four corners of a large rectangle on the wall: they tell its level and plumb";
  }

  /** @param {readonly Point[]} points */
  made(points) {
    if (points.length < 4) return polyline(points, false);
    const ring = asRing(points);
    return isConvex(ring) ? polyline(ring, true) : null;
  }

  /** @param {readonly Point[]} points */
  finished(points) {
    this.bench.takeWall(wallFromRing(asRing(points), this.bench.board.photoSize));
  }
}

/** A whole ellipse in the rectangle between two corners. */
export class EllipseTool extends PointsTool {
  get hint() {
    return this.busy ? "Click the opposite corner of the rectangle around it" : "Click a corner of the rectangle around the round shape";
  }

  /** @param {readonly Point[]} points */
  made(points) {
    const { wall } = this.bench;
    const ring = wall ? rectangleBetween(wall, points[0], points[1]) : null;
    return wall && ring ? ellipseIn(wall, ring) : null;
  }
}

/** Both ends of the foot, then the crown: a true half circle, on upright sides where the crown lies higher. */
export class HalfRoundTool extends PointsTool {
  get count() {
    return 3;
  }

  get hint() {
    return ["Click one end of the foot", "Click the other end of the foot", "Click the crown: the highest point"][this.points.length];
  }

  /** @param {readonly Point[]} points @returns {Path | null} */
  made(points) {
    const { wall } = this.bench;
    if (!wall || points.length < 2) return null;
    const [a, b] = [...points.slice(0, 2)].sort((p, q) => p[0] - q[0]);
    if (points.length < 3) return halfRound(wall, a, b);
    const [left, right, top] = [a, b, points[2]].map((p) => apply(wall.toWall, p));
    const radius = Math.hypot(right[0] - left[0], right[1] - left[1]) / 2;
    const height = top[1] - (left[1] + right[1]) / 2;
    if (height >= 0.94 * radius) return halfRound(wall, a, b, height < 1.06 * radius ? 0 : height / radius - 1);
    const crown = apply(wall.toPhoto, [(left[0] + right[0]) / 2, (left[1] + right[1]) / 2 + height]);
    const arc = halfEllipse(a, b, crown);
    return arc ? { closed: true, segments: [arc, { type: "line", start: b, end: a }] } : null;
  }
}

/** Both ends of an arc, then a point on it. */
export class ArcTool extends PointsTool {
  get count() {
    return 3;
  }

  get hint() {
    return ["Click where the arc begins", "Click where it ends", "Click a place on the arc"][this.points.length];
  }

  /** @param {readonly Point[]} points @returns {Path | null} */
  made(points) {
    if (points.length < 3) return polyline(points, false);
    const arc = arcThrough(points[0], points[2], points[1]);
    return arc ? { closed: false, segments: [arc] } : polyline(points.slice(0, 2), false);
  }
}
