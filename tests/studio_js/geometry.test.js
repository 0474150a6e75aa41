// Drawing geometry: properties that must hold, and figures from outside where there are some.
import assert from "node:assert/strict";
import { test } from "node:test";

import { arcPoint, arcThrough, centreForm, ellipseFrom, ellipseThrough, endpointForm, halfEllipse } from "../../src/limewash/studio/static/geometry/arc.js";
import { smoothThrough } from "../../src/limewash/studio/static/geometry/curve.js";
import { apply, fit, inverse, product } from "../../src/limewash/studio/static/geometry/homography.js";
import { carried, ellipseIn, halfRound, mirrored, repeated } from "../../src/limewash/studio/static/geometry/on-wall.js";
import * as path from "../../src/limewash/studio/static/geometry/path.js";
import { pathText } from "../../src/limewash/studio/static/geometry/path-text.js";
import * as perspective from "../../src/limewash/studio/static/geometry/perspective.js";
import { pick } from "../../src/limewash/studio/static/geometry/pick.js";
import { caught } from "../../src/limewash/studio/static/geometry/snapping.js";
import { crossing, distance, doubleArea, footOnLine, isInside } from "../../src/limewash/studio/static/geometry/vector.js";
import * as view from "../../src/limewash/studio/static/geometry/view.js";

const near = (a, b, within = 1e-9) => {
  const [p, q] = [[a].flat(2), [b].flat(2)];
  assert.equal(p.length, q.length);
  p.forEach((v, i) => assert.ok(Math.abs(v - q[i]) <= within, `${p} is not ${q} to within ${within}`));
};

/** A repeatable stream of numbers in 0 to 1. */
function numbers(seed) {
  let state = seed >>> 0;
  return () => ((state = (state * 1664525 + 1013904223) >>> 0) / 2 ** 32);
}

/** A camera that looks at the wall from the side: wall metres (x right, y up) to pixels. */
function slantedWall() {
  const [yaw, tilt, focal, centre] = [0.35, 0.12, 1800, [959.5, 539.5]];
  const [cy, sy, ct, st] = [Math.cos(yaw), Math.sin(yaw), Math.cos(tilt), Math.sin(tilt)];
  const forward = [sy * ct, st, -cy * ct];
  const right = [cy, 0, sy];
  const down = [forward[1] * right[2] - forward[2] * right[1], forward[2] * right[0] - forward[0] * right[2], forward[0] * right[1] - forward[1] * right[0]];
  const place = [0.5, 1.6, 14];
  return ([x, y]) => {
    const d = [x - place[0], y - place[1], -place[2]];
    const [u, v, w] = [right, down, forward].map((axis) => axis[0] * d[0] + axis[1] * d[1] + axis[2] * d[2]);
    return [centre[0] + (focal * u) / w, centre[1] + (focal * v) / w];
  };
}

const square = (x, y, side) => path.polyline([[x, y], [x + side, y], [x + side, y + side], [x, y + side]], true);

test("lines cross where they must, and parallels nowhere", () => {
  near(crossing([0, 0], [2, 2], [0, 2], [2, 0]), [1, 1]);
  assert.equal(crossing([0, 0], [1, 0], [0, 1], [1, 1]), null);
});

test("a ring knows its inside, and which way it runs", () => {
  const ring = [[0, 0], [4, 0], [4, 3], [0, 3]];
  assert.equal(doubleArea(ring), 24);
  assert.ok(isInside([1, 1], ring) && !isInside([5, 1], ring));
});

test("a plane map through four points meets them, undoes itself and composes", () => {
  const random = numbers(1);
  for (let round = 0; round < 50; round++) {
    const from = [[0, 0], [100, 0], [100, 80], [0, 80]].map(([x, y]) => [x + 20 * random(), y + 20 * random()]);
    const to = from.map(([x, y]) => [3 * x + 40 * random(), 2 * y + 40 * random()]);
    const map = fit(from, to);
    from.forEach((p, i) => near(apply(map, p), to[i], 1e-7));
    const back = product(inverse(map), map);
    near(apply(back, [37, 21]), [37, 21], 1e-7);
  }
  assert.equal(fit([[0, 0], [1, 0], [2, 0], [3, 0]], [[0, 0], [1, 0], [2, 0], [3, 0]]), null);
});

test("the map of the textbook's unit square", () => {
  // Heckbert, "Fundamentals of Texture Mapping and Image Warping" (1989), section 2.2.3, worked for (0,0) (2,0) (3,3) (0,1)
  // by hand: dx1 = -1, dx2 = -3, sx = 1; dy1 = -3, dy2 = -2, sy = 2; g = 4/-7, h = 1/7 * ... solved as the linear system.
  const to = [[0, 0], [2, 0], [3, 3], [0, 1]];
  const map = fit([[0, 0], [1, 0], [1, 1], [0, 1]], to);
  const [dx1, dx2, sx, dy1, dy2, sy] = [2 - 3, 0 - 3, 0 - 2 + 3 - 0, 0 - 3, 1 - 3, 0 - 0 + 3 - 1];
  const below = dx1 * dy2 - dx2 * dy1;
  const [g, h] = [(sx * dy2 - dx2 * sy) / below, (dx1 * sy - sx * dy1) / below];
  near(map, [2 + g * 2, 0 + h * 0, 0, 0 + g * 0, 1 + h * 1, 0, g, h, 1], 1e-9);
});

test("arcs go from endpoint form to centre form and back", () => {
  const random = numbers(2);
  for (let round = 0; round < 200; round++) {
    const form = {
      centre: [100 * random(), 100 * random()],
      first: [20 + 30 * random(), 10 * random()],
      second: [5 * random(), (random() < 0.5 ? -1 : 1) * (15 + 20 * random())],
      from: 6 * random(),
      turn: (random() < 0.5 ? -1 : 1) * (0.2 + 5.8 * random()),
    };
    const arc = endpointForm(form);
    const again = centreForm(arc);
    near(again.centre, form.centre, 1e-6);
    near(path.pointAt(arc, 0.5), arcPoint(again, again.from + again.turn / 2), 1e-9);
    const middle = arcPoint(form, form.from + form.turn / 2);
    const gap = Math.min(...Array.from({ length: 2001 }, (_, i) => distance(path.pointAt(arc, i / 2000), middle)));
    assert.ok(gap < 0.1, `the middle is ${gap} off`);
  }
});

test("the centre of the W3C's arc example", () => {
  // SVG 2, section 9.3.8, example arcs01: M300,200 h-150 a150,150 0 1,0 150,-150 z is three quarters of a circle about (300, 200).
  const form = centreForm({ type: "arc", start: [150, 200], end: [300, 50], radius: [150, 150], rotation_deg: 0, large: true, sweep: false });
  near(form.centre, [300, 200], 1e-9);
  near(Math.abs(form.turn), 1.5 * Math.PI, 1e-9);
});

test("an arc through three points passes through the middle one", () => {
  const random = numbers(3);
  for (let round = 0; round < 300; round++) {
    const [a, b, c] = [0, 1, 2].map(() => [100 * random(), 100 * random()]);
    const arc = arcThrough(a, b, c);
    if (!arc) continue;
    assert.ok(path.nearest({ segments: [arc], closed: false }, b, 1e-3).distance < 0.02 * Math.max(1, arc.radius[0] / 100));
  }
  assert.equal(arcThrough([0, 0], [1, 0], [2, 0]), null);
});

test("a half ellipse over a chord reaches its top", () => {
  const arc = halfEllipse([0, 10], [20, 10], [11, -2]);
  near(path.pointAt(arc, 0.5), [11, -2], 1e-9);
});

test("an ellipse is found again from its points", () => {
  const points = Array.from({ length: 9 }, (_, i) => [50 + 30 * Math.cos(i) - 4 * Math.sin(i), 20 + 8 * Math.cos(i) + 12 * Math.sin(i)]);
  const found = ellipseThrough(points);
  near(found.centre, [50, 20], 1e-7);
  const area = Math.abs(found.first[0] * found.second[1] - found.first[1] * found.second[0]);
  near(area, 30 * 12 + 4 * 8, 1e-6);
});

test("an ellipse in a slanted square touches its sides", () => {
  const map = fit([[-1, -1], [1, -1], [1, 1], [-1, 1]], [[0, 0], [100, 10], [95, 80], [5, 70]]);
  const whole = { segments: ellipseFrom((p) => apply(map, p)), closed: true };
  for (const p of [[0, -1], [1, 0], [0, 1], [-1, 0]]) assert.ok(path.nearest(whole, apply(map, p), 1e-3).distance < 5e-3);
});

test("a corner moves with its neighbours and the path stays whole", () => {
  const moved = path.withVertex(square(0, 0, 10), 0, [-1, -2]);
  near(moved.segments[0].start, [-1, -2]);
  near(moved.segments[3].end, [-1, -2]);
  assert.equal(path.vertices(moved).length, 4);
  assert.equal(path.withoutVertex(moved, 1).segments.length, 3);
  assert.equal(path.withCorner(moved, 1, 0.5).segments.length, 5);
});

test("splitting a segment changes nothing that is seen", () => {
  const cubic = { type: "cubic", start: [0, 0], control1: [10, 30], control2: [40, -20], end: [50, 10] };
  const arc = arcThrough([0, 0], [30, -28], [55, 4]);
  for (const segment of [cubic, arc]) {
    const parts = path.split(segment, 0.37);
    for (let i = 0; i <= 20; i++) {
      const p = path.pointAt(parts[i % 2], i / 20);
      assert.ok(path.nearest({ segments: [segment], closed: false }, p, 1e-4).distance < 1e-3);
    }
  }
});

test("a path walked backwards is the same line", () => {
  const whole = { segments: [arcThrough([0, 0], [30, -28], [55, 4]), { type: "line", start: [55, 4], end: [80, 4] }], closed: false };
  const back = path.reversed(whole);
  near(path.pathLength(back), path.pathLength(whole), 1e-6);
  near(back.segments[0].start, [80, 4]);
  assert.ok(path.nearest(back, [30, -28], 1e-4).distance < 1e-3);
});

test("lengths and boxes of a circle of two arcs", () => {
  const circle = { segments: ellipseFrom(([x, y]) => [50 + 20 * x, 40 + 20 * y]), closed: true };
  near(path.pathLength(circle, 1e-5), 40 * Math.PI, 1e-3);
  const b = path.box(circle, 1e-4);
  near([b.left, b.top, b.right, b.bottom], [30, 20, 70, 60], 1e-3);
});

test("a smooth curve passes through its points with one tangent at each", () => {
  const clicks = [[0, 0], [10, 12], [30, 5], [42, 20]];
  for (const closed of [false, true]) {
    const curve = smoothThrough(clicks, closed);
    assert.equal(curve.segments.length, closed ? 4 : 3);
    near(path.vertices(curve), clicks);
    for (let i = 1; i < curve.segments.length; i++) {
      const [a, b] = [curve.segments[i - 1], curve.segments[i]];
      const [u, v] = [[a.end[0] - a.control2[0], a.end[1] - a.control2[1]], [b.control1[0] - b.start[0], b.control1[1] - b.start[1]]];
      near((u[0] * v[1] - u[1] * v[0]) / (Math.hypot(...u) * Math.hypot(...v)), 0, 1e-9);
    }
  }
});

test("one rectangle of the wall tells its directions, its focal length and its proportions", () => {
  const see = slantedWall();
  const ring = [[1, 3], [2.2, 3], [2.2, 1.4], [1, 1.4]].map(see);
  const wall = perspective.withLength(perspective.wallFromRing(ring, [1920, 1080]), ring[0], ring[1], 1.2);
  near(perspective.wallDistance(wall, ring[0], ring[3]), 1.6, 1e-6);
  near(perspective.wallDistance(wall, see([-3, 0]), see([5, 6])), 10, 1e-5);
  near(apply(wall.toPhoto, apply(wall.toWall, [300, 200])), [300, 200], 1e-6);
});

test("four clicks in any order make one ring", () => {
  const ring = [[10, 10], [90, 14], [88, 70], [12, 66]];
  for (const order of [[2, 0, 3, 1], [1, 3, 0, 2], [3, 2, 1, 0]]) near(perspective.asRing(order.map((i) => ring[i])), ring);
  assert.ok(perspective.isConvex(ring));
  assert.ok(!perspective.isConvex([ring[0], ring[2], ring[1], ring[3]]));
});

test("two corners are enough once the wall is known", () => {
  const see = slantedWall();
  const wall = perspective.wallFromRing([[1, 3], [2.2, 3], [2.2, 1.4], [1, 1.4]].map(see), [1920, 1080]);
  const made = perspective.rectangleBetween(wall, see([-2, 4]), see([-1, 2]));
  near(made, [[-2, 4], [-1, 4], [-1, 2], [-2, 2]].map(see), 1e-5);
});

test("a vanishing point from several lines", () => {
  const see = slantedWall();
  const lines = [0.5, 1, 2, 4].map((y) => [see([-3, y]), see([4, y])]);
  const v = perspective.vanishingOf(lines, [960, 540], 1920);
  const d = perspective.directionAt(v, see([0, 3]));
  const wanted = [see([1, 3])[0] - see([0, 3])[0], see([1, 3])[1] - see([0, 3])[1]];
  near((d[0] * wanted[1] - d[1] * wanted[0]) / Math.hypot(...wanted), 0, 1e-6);
});

test("measured points give metres", () => {
  const see = slantedWall();
  const measured = [[0, 0], [7, 0], [7, 4], [0, 4], [3, 2]].map((wall_m) => ({ wall_m, photo_px: see(wall_m) }));
  const wall = perspective.wallFromMeasured(measured);
  near(perspective.wallDistance(wall, see([1, 1]), see([4, 5])), 5, 1e-6);
  assert.ok(wall.metric);
});

test("a row of windows repeats through the wall", () => {
  const see = slantedWall();
  const wall = perspective.wallFromRing([[1, 3], [2.2, 3], [2.2, 1.4], [1, 1.4]].map(see), [1920, 1080]);
  const first = path.polyline([[-4, 3], [-3, 3], [-3, 1.5], [-4, 1.5]].map(see), true);
  const copies = repeated(first, wall, see([-4, 3]), see([-2.2, 3]), 3);
  copies.forEach((copy, k) => {
    const x = -4 + 1.8 * (k + 1);
    near(path.vertices(copy), [[x, 3], [x + 1, 3], [x + 1, 1.5], [x, 1.5]].map(see), 1e-5);
  });
  const other = mirrored(first, wall, see([0, 2]));
  near(path.vertices(other), [[4, 3], [3, 3], [3, 1.5], [4, 1.5]].map(see), 1e-5);
});

test("a half-round carried along the wall is the half-round there", () => {
  const see = slantedWall();
  const wall = perspective.wallFromMeasured([[0, 0], [7, 0], [7, 4], [0, 4]].map((wall_m) => ({ wall_m, photo_px: see(wall_m) })));
  const made = halfRound(wall, see([1, 2]), see([2, 2]));
  for (let i = 0; i <= 12; i++) {
    const u = (i * Math.PI) / 12;
    const p = see([1.5 + 0.5 * Math.cos(u), 2 + 0.5 * Math.sin(u)]);
    assert.ok(path.nearest(made, p, 1e-3).distance < 2e-3);
  }
  const copy = repeated(made, wall, see([0, 0]), see([3, 0.5]), 1)[0];
  assert.equal(copy.segments[0].type, "arc");
  assert.ok(path.nearest(copy, see([4.5, 3]), 1e-3).distance < 2e-3);
  const legs = halfRound(wall, see([1, 2]), see([2, 2]), 0.4);
  assert.ok(path.nearest(legs, see([1.5, 2.7]), 1e-3).distance < 2e-3);
  assert.equal(legs.segments.length, 4);
});

test("an ellipse on the wall touches its rectangle", () => {
  const see = slantedWall();
  const wall = perspective.wallFromMeasured([[0, 0], [7, 0], [7, 4], [0, 4]].map((wall_m) => ({ wall_m, photo_px: see(wall_m) })));
  const whole = ellipseIn(wall, [[2, 3], [4, 3], [4, 2], [2, 2]].map(see));
  for (const p of [[3, 3], [4, 2.5], [3, 2], [2, 2.5]]) assert.ok(path.nearest(whole, see(p), 1e-3).distance < 2e-3);
});

test("a cubic carried through a slant stays near the true image", () => {
  const see = slantedWall();
  const curve = { segments: [{ type: "cubic", start: [0, 1], control1: [0.5, 2], control2: [1.5, 2], end: [2, 1] }], closed: false };
  const seen = carried(curve, see);
  for (let i = 0; i <= 10; i++) {
    assert.ok(path.nearest(seen, see(path.pointAt(curve.segments[0], i / 10)), 1e-3).distance < 0.06);
  }
});

const around = (extra) => ({ paths: [square(100, 100, 80)], wall: null, from: null, chain: [], reach: 10, ...extra });

test("the pointer is caught by corners, middles and lines, in this order", () => {
  assert.deepEqual([caught([103, 104], around()).kind, caught([103, 104], around()).point], ["corner", [100, 100]]);
  assert.deepEqual([caught([142, 103], around()).kind, caught([142, 103], around()).point], ["middle", [140, 100]]);
  const line = caught([122, 104], around());
  assert.equal(line.kind, "line");
  near(line.point, [122, 100]);
  assert.equal(caught([20, 20], around()).kind, "free");
});

test("level, plumb and their crossing", () => {
  near(caught([300, 52], around({ from: [40, 50] })).point, [300, 50]);
  assert.equal(caught([43, 400], around({ from: [40, 50] })).kind, "plumb");
  const closing = caught([303, 402], around({ from: [300, 500], chain: [[40, 400], [300, 500]] }));
  assert.equal(closing.kind, "crossing");
  near(closing.point, [300, 400]);
});

test("level follows the wall when it is known", () => {
  const see = slantedWall();
  const wall = perspective.wallFromRing([[1, 3], [2.2, 3], [2.2, 1.4], [1, 1.4]].map(see), [1920, 1080]);
  const [from, target] = [see([-4, 5]), see([-2, 5])];
  const found = caught([target[0], target[1] + 3], { paths: [], wall, from, chain: [], reach: 10 });
  assert.equal(found.kind, "level");
  assert.ok(distance(found.point, target) < 3.1);
  near(footOnLine(found.point, from, target).distance, 0, 1e-3);
});

test("extensions catch beyond the end of a line", () => {
  const found = caught([250, 102], around());
  assert.equal(found.kind, "extension");
  near(found.point, [250, 100]);
});

test("corners of the selected path are picked before lines, and small areas before large", () => {
  const items = [{ id: "wall", path: square(0, 0, 300) }, { id: "window", path: square(100, 100, 80) }];
  assert.equal(pick([102, 101], items, "window", 6).part, "corner");
  assert.equal(pick([102, 101], items, null, 6).part, "line");
  assert.equal(pick([140, 140], items, null, 6).id, "window");
  assert.equal(pick([240, 240], items, null, 6).id, "wall");
  assert.equal(pick([-50, 0], items, null, 6), null);
});

test("zooming keeps the point under the pointer", () => {
  let now = { scale: 0.5, x: 10, y: 20 };
  const before = view.toPhoto(now, [400, 300]);
  now = view.zoomed(now, [400, 300], 3, [0.05, 64]);
  near(view.toPhoto(now, [400, 300]), before, 1e-9);
  near(view.toScreen(now, view.toPhoto(now, [7, 9])), [7, 9], 1e-9);
});

test("tiles are chosen at the level that is sharp enough, and cover the screen", () => {
  assert.deepEqual([1, 0.5, 0.49, 0.26, 0.1, 4].map((s) => view.levelFor(s, 5)), [0, 1, 1, 1, 3, 0]);
  const seen = view.tilesSeen({ scale: 1, x: -600, y: -100 }, [800, 600], [4000, 3000], 0, 512);
  const columns = new Set(seen.map((tile) => tile.column));
  assert.deepEqual([...columns].sort(), [1, 2]);
  assert.ok(seen.every((tile) => tile.row >= 0 && tile.row <= 1));
});

test("a path's text reads as SVG", () => {
  const text = pathText({ segments: [{ type: "line", start: [0, 0], end: [10.5, 0] }, arcThrough([10.5, 0], [5, -5], [0, 0])], closed: true });
  assert.match(text, /^M 0,0 L 10\.5,0 A [\d.]+,[\d.]+ 0 \d \d 0,0 Z$/);
});
