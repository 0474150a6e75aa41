// @ts-check
/**
 * The pointer without a mouse: while a drawing tool is in hand, arrow keys move a cross-hair over the board and Space
 * clicks with it.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 */
import { clamp } from "../dom.js";

/** How far one press of an arrow key moves it. [screen px] */
const STEP_PX = 4;
/** Nearer to the board's rim than this, the board goes along. [screen px] */
const RIM_PX = 24;
const REACH_PX = 13;

export class KeyPointer {
  /** Whether the keys have the pointer; the next movement of a mouse takes it. */
  active = false;

  /** @param {import("./desk.js").Desk} desk */
  constructor(desk) {
    this.desk = desk;
  }

  /** Whether arrow keys move the pointer: not while they nudge what is in hand. */
  get takesArrows() {
    return this.desk.toolName !== "pick";
  }

  /** @param {Point} way @param {number} times */
  move(way, times) {
    const { board } = this.desk;
    const from = this.#place();
    const step = board.reach(STEP_PX * times);
    const [width, height] = board.photoSize;
    const to = /** @type {Point} */ ([clamp(from[0] + way[0] * step, -0.5, width - 0.5), clamp(from[1] + way[1] * step, -0.5, height - 0.5)]);
    this.#keepInSight(to);
    board.pointer = to;
    this.desk.tool.move(to, null);
    this.desk.strip.show();
    board.redraw();
    this.desk.announce(this.desk.strip.placeInWords);
  }

  /** Space: a click where the pointer is. */
  async press() {
    if (!this.takesArrows) return;
    const { board } = this.desk;
    const at = this.#place();
    board.pointer = at;
    await this.desk.tool.down(at, null);
    this.desk.strip.show();
    board.redraw();
    if (this.desk.tool.busy) this.desk.announce(`Set at ${this.desk.strip.placeInWords}. ${this.desk.tool.hint}`);
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    const at = this.desk.board.pointer;
    if (!this.active || !at) return;
    painter.spot(at, REACH_PX, painter.colour("--mark"), "plus");
  }

  /** Where the pointer is; in the middle of what is seen when it was nowhere. @returns {Point} */
  #place() {
    const { board } = this.desk;
    this.active = true;
    return board.pointer ?? board.inPhoto([board.screen[0] / 2, board.screen[1] / 2]);
  }

  /** @param {Point} to */
  #keepInSight(to) {
    const { board } = this.desk;
    const by = /** @type {Point} */ (board.seen(to).map((at, k) => clamp(at, RIM_PX, board.screen[k] - RIM_PX) - at));
    if (by[0] || by[1]) board.pan(by);
  }
}
