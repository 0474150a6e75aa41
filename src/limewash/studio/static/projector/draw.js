// @ts-check
/** Drawing in projector pixels. A pixel's centre is an integer here and half a pixel in on a canvas. */

const HALF = 0.5;

/** On black, for the eye on the house: kinds are told apart by colours of equal weight. */
export const KIND_COLOURS = {
  window: "#ffd23f", door: "#ff7f50", garage: "#ff9ecb", "roof-line": "#62e2ff", wall: "#a8f07a", post: "#c7a3ff",
  trim: "#ffffff", step: "#8fb0ff", "keep-dark": "#ff4040", other: "#cfcfcf",
};

/** @typedef {{id: string, kind: keyof typeof KIND_COLOURS, closed: boolean, points: [number, number][]}} Carried */
/** @typedef {{line_px: number, colour: string, by_kind: boolean}} Look */

/**
 * Outlines and areas as lines.
 * @param {CanvasRenderingContext2D} context @param {Carried[]} paths @param {Look} look
 */
export function drawLines(context, paths, look) {
  context.lineWidth = look.line_px;
  context.lineJoin = "round";
  context.lineCap = "round";
  for (const path of paths) {
    context.strokeStyle = look.by_kind ? KIND_COLOURS[path.kind] : look.colour;
    context.setLineDash(path.kind === "keep-dark" ? [look.line_px * 3, look.line_px * 3] : []);
    trace(context, path.points, path.closed);
    context.stroke();
  }
  context.setLineDash([]);
}

/** @param {CanvasRenderingContext2D} context @param {[number, number][]} points @param {boolean} closed */
function trace(context, points, closed) {
  context.beginPath();
  points.forEach(([x, y], n) => (n ? context.lineTo(x + HALF, y + HALF) : context.moveTo(x + HALF, y + HALF)));
  if (closed) context.closePath();
}

/**
 * The hand that draws on the house: what it has drawn so far, its cross-hair, its loupe.
 * @param {CanvasRenderingContext2D} context @param {any} hand @param {Look} look
 */
export function drawHand(context, hand, look) {
  context.strokeStyle = look.colour;
  context.lineWidth = look.line_px;
  for (const line of hand.lines) {
    trace(context, line, false);
    context.stroke();
  }
  for (const [x, y] of hand.points) ring(context, x, y, 4 + look.line_px);
  if (hand.held) ring(context, hand.held[0], hand.held[1], 12 + look.line_px);
  cross(context, hand.at[0], hand.at[1], hand.reach_px);
  if (hand.loupe) loupe(context, hand.at, look);
}

/** @param {CanvasRenderingContext2D} context @param {number} x @param {number} y @param {number} radius */
function ring(context, x, y, radius) {
  context.beginPath();
  context.arc(x + HALF, y + HALF, radius, 0, 2 * Math.PI);
  context.stroke();
}

/** A cross that leaves its centre free. @param {CanvasRenderingContext2D} context @param {number} x @param {number} y @param {number} reach */
function cross(context, x, y, reach) {
  const gap = 3;
  context.beginPath();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
    context.moveTo(x + HALF + dx * gap, y + HALF + dy * gap);
    context.lineTo(x + HALF + dx * reach, y + HALF + dy * reach);
  }
  context.stroke();
}

const LOUPE_PX = 33;
const LOUPE_TIMES = 7;

/**
 * The pixels around the cross-hair, seven times as large, beside it; on the other side near the picture's edge.
 * @param {CanvasRenderingContext2D} context @param {[number, number]} at @param {Look} look
 */
function loupe(context, at, look) {
  const { width, height } = context.canvas;
  const size = LOUPE_PX * LOUPE_TIMES;
  const left = at[0] + 60 + size < width ? at[0] + 60 : at[0] - 60 - size;
  const top = Math.min(Math.max(at[1] - size / 2, 2), height - size - 2);
  const from = [Math.round(at[0]) - (LOUPE_PX >> 1), Math.round(at[1]) - (LOUPE_PX >> 1)];
  context.fillStyle = "#000";
  context.fillRect(left, top, size, size);
  context.imageSmoothingEnabled = false;
  context.drawImage(context.canvas, from[0], from[1], LOUPE_PX, LOUPE_PX, left, top, size, size);
  context.lineWidth = look.line_px;
  context.strokeRect(left, top, size, size);
}

/**
 * Check points: the map as it lands now, each point as a cross, the chosen one ringed.
 * @param {CanvasRenderingContext2D} context @param {any} settle @param {Look} look
 */
export function drawSettle(context, settle, look) {
  drawLines(context, settle.paths, look);
  context.setLineDash([]);
  context.strokeStyle = look.colour;
  for (const point of settle.points) {
    cross(context, point.house_px[0], point.house_px[1], 22);
    if (point.name === settle.chosen) ring(context, point.house_px[0], point.house_px[1], 16);
  }
}
