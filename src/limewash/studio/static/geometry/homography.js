// @ts-check
/**
 * Plane-to-plane maps as 3x3 matrices, row by row, acting on (x, y, 1).
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {[number, number, number, number, number, number, number, number, number]} Matrix3
 */

/** @type {Matrix3} */
export const IDENTITY = [1, 0, 0, 0, 1, 0, 0, 0, 1];

/** @type {(m: Matrix3, p: Point) => Point} */
export function apply(m, p) {
  const w = m[6] * p[0] + m[7] * p[1] + m[8];
  return [(m[0] * p[0] + m[1] * p[1] + m[2]) / w, (m[3] * p[0] + m[4] * p[1] + m[5]) / w];
}

/** The map that first does `b`, then `a`.
 * @type {(a: Matrix3, b: Matrix3) => Matrix3} */
export function product(a, b) {
  const out = /** @type {Matrix3} */ ([...IDENTITY]);
  for (let row = 0; row < 3; row++) {
    for (let column = 0; column < 3; column++) {
      out[row * 3 + column] = [0, 1, 2].reduce((sum, k) => sum + a[row * 3 + k] * b[k * 3 + column], 0);
    }
  }
  return out;
}

/** @type {(m: Matrix3) => number} */
export const determinant = (m) =>
  m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);

/** @type {(m: Matrix3) => Matrix3} */
export function inverse(m) {
  const d = determinant(m);
  if (!(Math.abs(d) > 0)) throw new RangeError("this plane map cannot be undone: its points lie on one line");
  return /** @type {Matrix3} */ (
    [
      m[4] * m[8] - m[5] * m[7],
      m[2] * m[7] - m[1] * m[8],
      m[1] * m[5] - m[2] * m[4],
      m[5] * m[6] - m[3] * m[8],
      m[0] * m[8] - m[2] * m[6],
      m[2] * m[3] - m[0] * m[5],
      m[3] * m[7] - m[4] * m[6],
      m[1] * m[6] - m[0] * m[7],
      m[0] * m[4] - m[1] * m[3],
    ].map((v) => v / d)
  );
}

/**
 * The map that takes four or more points to their partners (least squares beyond four).
 * @param {readonly Point[]} from @param {readonly Point[]} to
 * @returns {Matrix3 | null} null when the points do not fix a plane
 */
export function fit(from, to) {
  if (from.length < 4 || from.length !== to.length) return null;
  const before = normaliser(from);
  const after = normaliser(to);
  const normal = Array.from({ length: 8 }, () => new Float64Array(9));
  from.forEach((point, i) => {
    const [x, y] = apply(before, point);
    const [u, v] = apply(after, to[i]);
    for (const row of [[x, y, 1, 0, 0, 0, -u * x, -u * y, u], [0, 0, 0, x, y, 1, -v * x, -v * y, v]]) {
      for (let a = 0; a < 8; a++) for (let b = 0; b < 9; b++) normal[a][b] += row[a] * row[b];
    }
  });
  const solved = solve(normal);
  if (!solved) return null;
  const inner = /** @type {Matrix3} */ ([...solved, 1]);
  const whole = product(inverse(after), product(inner, before));
  return Math.abs(determinant(inner)) < 1e-9 ? null : /** @type {Matrix3} */ (whole.map((v) => v / whole[8]));
}

/** Moves points to around 0 and scales them to about 1, so that the equations keep their digits.
 * @param {readonly Point[]} points @returns {Matrix3} */
function normaliser(points) {
  const cx = points.reduce((sum, p) => sum + p[0], 0) / points.length;
  const cy = points.reduce((sum, p) => sum + p[1], 0) / points.length;
  const spread = points.reduce((sum, p) => sum + Math.hypot(p[0] - cx, p[1] - cy), 0) / points.length;
  const s = Math.SQRT2 / (spread || 1);
  return [s, 0, -s * cx, 0, s, -s * cy, 0, 0, 1];
}

/**
 * Solve a square system given as rows with the right side behind, by elimination with row exchange.
 * @param {Float64Array[]} rows changed in place
 * @returns {number[] | null}
 */
export function solve(rows) {
  const n = rows.length;
  for (let column = 0; column < n; column++) {
    let best = column;
    for (let row = column + 1; row < n; row++) if (Math.abs(rows[row][column]) > Math.abs(rows[best][column])) best = row;
    [rows[column], rows[best]] = [rows[best], rows[column]];
    if (Math.abs(rows[column][column]) < 1e-12) return null;
    for (let row = 0; row < n; row++) {
      if (row === column) continue;
      const share = rows[row][column] / rows[column][column];
      for (let k = column; k <= n; k++) rows[row][k] -= share * rows[column][k];
    }
  }
  return rows.map((row, i) => row[n] / row[i]);
}
