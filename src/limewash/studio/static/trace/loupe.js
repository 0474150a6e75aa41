// @ts-check
/**
 * The loupe: what lies under the pointer, six times as large, in a corner of the board where the pointer is not.
 */

const SIZE = 168;
const TIMES = 6;

/**
 * @param {CanvasRenderingContext2D} context of the overlay, in screen pixels
 * @param {import("./board.js").TraceBoard} board @param {import("../geometry/vector.js").Point} at photo pixels
 * @param {HTMLCanvasElement} lines the overlay without the loupe @param {string} colour
 */
export function drawLoupe(context, board, at, lines, colour) {
  const [x, y] = board.seen(at);
  const { ratio, screen } = board;
  const left = x < SIZE + 90 && y < SIZE + 90 ? screen[0] - SIZE - 14 : 14;
  const top = 14;
  const source = SIZE / TIMES;
  context.save();
  context.beginPath();
  context.arc(left + SIZE / 2, top + SIZE / 2, SIZE / 2, 0, 2 * Math.PI);
  context.fillStyle = "#000";
  context.fill();
  context.clip();
  context.imageSmoothingEnabled = false;
  for (const picture of [board.picture, lines]) {
    context.drawImage(picture, (x - source / 2) * ratio, (y - source / 2) * ratio, source * ratio, source * ratio, left, top, SIZE, SIZE);
  }
  context.strokeStyle = colour;
  context.lineWidth = 1;
  context.beginPath();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
    context.moveTo(left + SIZE / 2 + dx * 7, top + SIZE / 2 + dy * 7);
    context.lineTo(left + SIZE / 2 + (dx * SIZE) / 2, top + SIZE / 2 + (dy * SIZE) / 2);
  }
  context.stroke();
  context.restore();
  context.save();
  context.beginPath();
  context.arc(left + SIZE / 2, top + SIZE / 2, SIZE / 2, 0, 2 * Math.PI);
  context.strokeStyle = "rgb(0 0 0 / .7)";
  context.lineWidth = 4;
  context.stroke();
  context.strokeStyle = colour;
  context.lineWidth = 1.25;
  context.stroke();
  context.restore();
}
