// @ts-check
/**
 * What all tools share.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 * @typedef {import("../geometry/path.js").Path} Path
 * @typedef {import("../geometry/snapping.js").Caught} Caught
 * @typedef {import("../geometry/perspective.js").Wall} Wall
 * @typedef {import("./store.js").Kind} Kind
 * @typedef {import("./store.js").Traced} Traced
 * @typedef {import("./paint.js").Painter} Painter
 *
 * @typedef {object} Bench what a tool works on; the page has it
 * @property {import("./store.js").Store} store
 * @property {import("./board.js").TraceBoard} board
 * @property {Wall | null} wall
 * @property {Kind} kind of what is drawn next
 * @property {Set<string>} selected
 * @property {number | null} corner index of the corner in hand, of the one selected path
 * @property {import("../geometry/path.js").Handle | null} handle of a curve of that path, when one is in hand instead
 * @property {any} studio
 * @property {string} photo name of the picture that is seen: "photo" or "daylight"
 * @property {number} copies how many a repeat makes
 * @property {(at: Point, event: PointerEvent | null, from: Point | null, chain: readonly Point[], without?: readonly string[]) => Caught} catch
 * @property {(path: Path, how?: {settle?: boolean}) => Promise<void>} finish puts a drawn path into the tracing
 * @property {(ids: readonly string[], corner?: number | null) => void} select
 * @property {(wall: Wall) => void} takeWall
 * @property {() => void} refresh
 * @property {(text: string, kind?: "" | "care") => void} say
 * @property {(text: string) => void} announce read out only
 */

/** A tool that does nothing: the others say what they do otherwise. */
export class Tool {
  /** @type {Caught | null} */
  caught = null;

  /** @param {Bench} bench */
  constructor(bench) {
    this.bench = bench;
  }

  /** What to do next, for the foot of the board. @returns {string} */
  get hint() {
    return "";
  }

  /** Whether something is begun. */
  get busy() {
    return false;
  }

  /** A click of the mouse, or of Space without an event. @param {Point} _at @param {PointerEvent | null} _event @returns {void | Promise<void>} */
  down(_at, _event) {}

  /** By the mouse, or by the arrow keys without an event. @param {Point} _at @param {PointerEvent | null} _event */
  move(_at, _event) {}

  /** @param {Point} _at @param {PointerEvent} _event */
  up(_at, _event) {}

  /** @param {Point} _at */
  twice(_at) {}

  leave() {
    this.caught = null;
  }

  /** Enter. */
  end() {}

  /** Shift and Enter: as an area. */
  close() {}

  /** Escape: true if there was something to stop. @returns {boolean} */
  stop() {
    return false;
  }

  /** Backspace: true if there was a point to take back. @returns {boolean} */
  back() {
    return false;
  }

  /** @param {Painter} _painter */
  paint(_painter) {}
}

/** Shows what holds the pointer. @param {Painter} painter @param {Caught | null} caught */
export function paintCaught(painter, caught) {
  if (!caught || caught.kind === "free") return;
  const colour = painter.colour("--mark");
  for (const guide of caught.guides) painter.endless(guide.through, guide.toward, colour);
  const form = caught.kind === "corner" || caught.kind === "middle" ? "ring" : "cross";
  painter.spot(caught.point, caught.kind === "corner" ? 7 : 5, colour, form);
}
