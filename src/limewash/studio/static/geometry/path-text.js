// @ts-check
/**
 * Paths as the text of an SVG path's `d` attribute.
 *
 * @typedef {import("./path.js").Path} Path
 * @typedef {import("./vector.js").Point} Point
 */

/** @param {Path} path @param {number} [decimals] @returns {string} */
export function pathText(path, decimals = 3) {
  const n = (/** @type {number} */ v) => String(Number(v.toFixed(decimals)));
  const pair = (/** @type {Point} */ p) => `${n(p[0])},${n(p[1])}`;
  if (!path.segments.length) return "";
  const words = [`M ${pair(path.segments[0].start)}`];
  for (const segment of path.segments) {
    if (segment.type === "line") words.push(`L ${pair(segment.end)}`);
    else if (segment.type === "cubic") words.push(`C ${pair(segment.control1)} ${pair(segment.control2)} ${pair(segment.end)}`);
    else words.push(`A ${pair(segment.radius)} ${n(segment.rotation_deg)} ${+segment.large} ${+segment.sweep} ${pair(segment.end)}`);
  }
  return path.closed ? `${words.join(" ")} Z` : words.join(" ");
}
