// @ts-check
/**
 * How the photo lies on the screen: scale and place, panning and zooming, and which tiles are to be seen.
 *
 * @typedef {import("./vector.js").Point} Point
 * @typedef {{scale: number, x: number, y: number}} View screen = photo * scale + (x, y); scale in screen pixels a photo pixel
 */

/** @param {View} view @param {Point} p @returns {Point} */
export const toScreen = (view, p) => [p[0] * view.scale + view.x, p[1] * view.scale + view.y];

/** @param {View} view @param {Point} p @returns {Point} */
export const toPhoto = (view, p) => [(p[0] - view.x) / view.scale, (p[1] - view.y) / view.scale];

/** Scale by `factor`, the photo point under `at` staying where it is. @param {View} view @param {Point} at @param {number} factor @param {[number, number]} limits @returns {View} */
export function zoomed(view, at, factor, [least, most]) {
  const scale = Math.min(most, Math.max(least, view.scale * factor));
  const share = scale / view.scale;
  return { scale, x: at[0] - (at[0] - view.x) * share, y: at[1] - (at[1] - view.y) * share };
}

/** @param {View} view @param {Point} by screen pixels @returns {View} */
export const panned = (view, by) => ({ scale: view.scale, x: view.x + by[0], y: view.y + by[1] });

/**
 * The view that shows a box of the photo whole, in the middle, with a margin.
 * @param {{left: number, top: number, right: number, bottom: number}} box @param {Point} screen size
 * @param {number} margin screen pixels @param {number} [most] greatest scale @returns {View}
 */
export function fitting(box, screen, margin, most = Infinity) {
  const width = Math.max(box.right - box.left, 1e-6);
  const height = Math.max(box.bottom - box.top, 1e-6);
  const room = [Math.max(screen[0] - 2 * margin, 16), Math.max(screen[1] - 2 * margin, 16)];
  const scale = Math.min(room[0] / width, room[1] / height, most);
  return {
    scale,
    x: screen[0] / 2 - ((box.left + box.right) / 2) * scale,
    y: screen[1] / 2 - ((box.top + box.bottom) / 2) * scale,
  };
}

/** Keeps a tenth of the photo on the screen, so that it cannot be lost. @param {View} view @param {Point} photo size @param {Point} screen size @returns {View} */
export function kept(view, photo, screen) {
  const least = [0.1, 0.1].map((share, k) => share * Math.min(photo[k] * view.scale, screen[k]));
  const x = Math.min(screen[0] - least[0], Math.max(least[0] - photo[0] * view.scale, view.x));
  const y = Math.min(screen[1] - least[1], Math.max(least[1] - photo[1] * view.scale, view.y));
  return { scale: view.scale, x, y };
}

/**
 * The level of the picture pyramid to draw: 0 is full size, each further one half as large. Never fewer picture
 * pixels than screen pixels, so that nothing looks soft that is not.
 * @param {number} scale device pixels a photo pixel @param {number} levels
 */
export function levelFor(scale, levels) {
  const wanted = Math.floor(Math.log2(1 / Math.max(scale, 1e-9)) + 1e-6);
  return Math.min(levels - 1, Math.max(0, wanted));
}

/**
 * Tiles of one level that touch the screen, the middle ones first.
 * @param {View} view @param {Point} screen @param {Point} photo size @param {number} level @param {number} tile edge length in pixels of the level
 * @returns {{column: number, row: number}[]}
 */
export function tilesSeen(view, screen, photo, level, tile) {
  const step = tile * 2 ** level;
  const [left, top] = toPhoto(view, [0, 0]);
  const [right, bottom] = toPhoto(view, screen);
  const range = (/** @type {number} */ low, /** @type {number} */ high, /** @type {number} */ size) => {
    const last = Math.ceil(size / step) - 1;
    return [Math.max(0, Math.floor((low + 0.5) / step)), Math.min(last, Math.floor((high + 0.5) / step))];
  };
  const [c0, c1] = range(left, right, photo[0]);
  const [r0, r1] = range(top, bottom, photo[1]);
  const found = [];
  for (let row = r0; row <= r1; row++) for (let column = c0; column <= c1; column++) found.push({ column, row });
  const [cm, rm] = [(c0 + c1) / 2, (r0 + r1) / 2];
  return found.sort((a, b) => Math.hypot(a.column - cm, a.row - rm) - Math.hypot(b.column - cm, b.row - rm));
}
