// @ts-check
/**
 * Holds the trace page together: which tool is in hand, what is selected, what holds the pointer, what the keys do.
 *
 * @typedef {import("../geometry/vector.js").Point} Point
 * @typedef {import("../geometry/path.js").Path} Path
 * @typedef {import("../geometry/perspective.js").Wall} Wall
 * @typedef {import("./store.js").Traced} Traced
 * @typedef {import("./store.js").Kind} Kind
 * @typedef {import("./tool.js").Tool} Tool
 */
import { el } from "../dom.js";
import { roving } from "../roving.js";
import { box, vertices, withoutVertex } from "../geometry/path.js";
import { wallFromDirections, wallFromMeasured, withLength } from "../geometry/perspective.js";
import { apply } from "../geometry/homography.js";
import { caught } from "../geometry/snapping.js";
import { TraceBoard } from "./board.js";
import { ChainTool, CurveTool, WireTool } from "./chain_tools.js";
import { toolIcon, TOOLS } from "./icons.js";
import { inHandInWords } from "./in_hand.js";
import { KeyPointer } from "./key_pointer.js";
import { traceKeys } from "./keys.js";
import { drawLoupe } from "./loupe.js";
import { Painter } from "./paint.js";
import { Panel } from "./panel.js";
import { nudged, PickTool } from "./pick_tool.js";
import { MapPreview } from "./preview.js";
import { Proposals } from "./proposals.js";
import { ArcTool, EllipseTool, FourCornersTool, HalfRoundTool, RectangleTool } from "./shape_tools.js";
import { Settling } from "./settling.js";
import { kindWord, Store } from "./store.js";
import { Strip } from "./strip.js";
import { MeasureTool, MirrorTool, RepeatTool } from "./wall_tools.js";

const CATCH_PX = 8;
/** How far on the screen an edge may lie from what was drawn. */
const SETTLE_PX = 6;

export class Desk {
  /** @type {Kind} */
  kind = "window";
  /** @type {Set<string>} */
  selected = new Set();
  /** @type {number | null} */
  corner = null;
  /** @type {import("../geometry/path.js").Handle | null} */
  handle = null;
  copies = 1;
  photo = "photo";
  settles = true;
  catches = true;
  loupe = true;
  step = { size: 1, unit: "px" };
  toolName = "pick";

  /** @param {any} studio @param {any} photos @param {import("./store.js").State} state @param {any} seen the wall as the server sees it */
  constructor(studio, photos, state, seen) {
    this.studio = studio;
    this.photos = photos.photos;
    this.scan = photos.scan;
    this.byEyeScan = seen.by_eye;
    this.settles = !seen.by_eye;
    this.store = new Store(studio, state);
    this.seen = seen;
    this.wall = wallOf(seen, state.size);
    this.board = /** @type {TraceBoard} */ (document.createElement("trace-board"));
    this.board.setAttribute("aria-label", "Photo of the house with the tracing over it");
    this.board.setAttribute("aria-description", "With a drawing tool: arrow keys move the cross-hair, Space clicks, Enter ends. Question mark: all keys.");
    this.pointer = new KeyPointer(this);
    const tools = { pick: PickTool, lines: ChainTool, rectangle: RectangleTool, corners: FourCornersTool, halfround: HalfRoundTool, ellipse: EllipseTool,
      arc: ArcTool, curve: CurveTool, wire: WireTool, measure: MeasureTool, mirror: MirrorTool, repeat: RepeatTool };
    /** @type {Record<string, Tool>} */
    this.tools = Object.fromEntries(Object.entries(tools).map(([name, Made]) => [name, new Made(this)]));
    this.measure = /** @type {MeasureTool} */ (this.tools.measure);
    this.proposals = new Proposals(studio, this);
    this.settling = new Settling(studio);
    this.preview = new MapPreview(studio, this);
    this.strip = new Strip(this);
    this.panel = new Panel(this, {
      kind: (/** @type {Kind} */ kind) => this.setKind(kind), rename: (/** @type {string} */ title) => this.#changeAll((path) => ({ ...path, title }), "rename"),
      gather: (/** @type {string} */ group) => this.#changeAll((path) => ({ ...path, group }), group ? `gather into ${group}`.slice(0, 80) : "ungroup"),
      place: (/** @type {0 | 1} */ axis, /** @type {number} */ value) => this.place(axis, value), step: () => this.step,
      setStep: (/** @type {number | null} */ size, /** @type {string | null} */ unit) => { this.step = { size: size ?? this.step.size, unit: unit ?? this.step.unit }; },
      settle: () => this.settle(), onPhoto: () => !this.byEyeScan, tool: (/** @type {string} */ name) => this.setTool(name), copies: (/** @type {number} */ n) => { this.copies = Math.min(Math.max(Math.round(n) || 1, 1), 60); },
      lock: () => this.lock(), remove: () => this.remove(), surface: (/** @type {string | null} */ surface) => this.#changeAll((path) => ({ ...path, surface }), "say which surface"),
      look: (/** @type {string} */ id) => this.look([id]),
    });
    this.toolbar = roving(el("div", { class: "trace-tools", role: "toolbar", "aria-label": "Drawing tools", "aria-orientation": "vertical" },
      ...TOOLS.map(([name, shape, words, key]) => el("button", { type: "button", class: "button bare", "data-tool": name, title: `${words} (${key})`, "aria-label": `${words} (${key})`,
        on: { click: () => { this.setTool(name); this.board.focus({ preventScroll: true }); } } }, toolIcon(shape)))));
    this.element = el("div", { class: "trace" }, this.toolbar,
      el("div", { class: "trace-middle" }, this.strip.top, el("div", { class: "trace-board-place" }, this.board, this.proposals.element, this.settling.element), this.strip.foot),
      el("aside", { class: "trace-panel", "aria-label": "Tracing" }, this.panel.element, this.preview.element));
  }

  async begin() {
    this.board.hand = {
      down: (at, event) => this.#down(at, event), move: (at, event) => this.#move(at, event), up: (at, event) => this.tool.up(at, event),
      twice: (at) => !this.proposals.open && this.tool.twice(at), leave: () => { this.tool.leave(); this.refresh(); },
      press: () => this.pointer.press(),
    };
    this.board.overlay = (context) => this.#paint(context);
    this.board.moved = () => this.strip.show();
    this.store.watch(() => this.#changed());
    this.store.letGo = () => { if (this.toolName === "pick" && this.tool.busy) this.tool.stop(); };
    this.studio.live.on("scan", () => this.#scanChanged());
    this.studio.live.on("again", () => this.#scanChanged());
    this.studio.live.on("photo", () => this.#newPhotos());
    this.studio.live.on("wall", (/** @type {any} */ message) => this.#heardOfWall(message.told));
    this.studio.keys.add(traceKeys(this));
    this.measure.measured = (a, b) => this.strip.askLength(a, b);
    this.board.show(this.photos[0]);
    this.setTool("pick");
    this.refresh();
    await this.preview.read();
  }

  get tool() {
    return this.tools[this.toolName];
  }

  /** @param {string} name */
  setTool(name) {
    if (this.tool.busy) this.tool.stop();
    if (this.toolName !== name) this.tool.leave();
    this.toolName = name;
    if (!["pick", "mirror", "repeat", "measure"].includes(name)) this.select([]);
    for (const control of this.toolbar.children) control.setAttribute("aria-pressed", String(control.dataset.tool === name));
    this.board.style.cursor = name === "pick" ? "" : "crosshair";
    this.refresh();
  }

  /** @param {Kind} kind of the selection, or of what is drawn next */
  setKind(kind) {
    this.kind = kind;
    if (this.selected.size) this.#changeAll((path) => ({ ...path, kind }), `make it ${kindWord(kind).toLowerCase()}`);
    this.refresh();
  }

  /** @param {readonly string[]} ids @param {number | null} [corner] @param {import("../geometry/path.js").Handle | null} [handle] */
  select(ids, corner = null, handle = null) {
    const before = this.selected.size;
    this.selected = new Set(ids);
    this.corner = ids.length === 1 ? corner : null;
    this.handle = ids.length === 1 ? handle : null;
    this.refresh();
    if (before || ids.length) this.announce(inHandInWords(this));
  }

  /** @param {Point} at @param {PointerEvent | null} event @param {Point | null} from @param {readonly Point[]} chain @param {readonly string[]} [without] */
  catch(at, event, from, chain, without = []) {
    if (!this.catches || event?.altKey) return { point: at, kind: /** @type {const} */ ("free"), guides: [] };
    const paths = this.store.paths.filter((path) => !without.includes(path.id));
    return caught(at, { paths, wall: this.wall, from, chain, reach: this.board.reach(CATCH_PX) });
  }

  /** @param {Path} path @param {{settle?: boolean}} [how] */
  async finish(path, how = {}) {
    const id = this.store.freeId(this.kind);
    const number = this.store.paths.filter((old) => old.kind === this.kind).length + 1;
    /** @type {Traced} */
    const traced = { id, kind: this.kind, title: `${kindWord(this.kind)} ${number}`, surface: null, group: "", locked: false, closed: path.closed, segments: path.segments };
    this.store.dragged.set(id, traced); // seen while it settles
    this.store.tell();
    const settled = (how.settle ?? this.settles) && this.toolName !== "wire" ? (await this.#settled([traced]))[0] : traced;
    const added = await this.store.add({ ...settled, title: traced.title }, `draw ${kindWord(this.kind).toLowerCase()}`);
    if (added !== id) this.store.dragged.delete(id);
    if (added) this.announce(`${traced.title} is drawn`);
  }

  /** Move what is in hand onto the edges of the photo; with nothing in hand, all: like things then help each other. */
  async settle() {
    await this.store.idle();
    const some = this.selected.size ? this.#inHand() : this.store.own.filter((path) => !path.locked);
    if (!some.length || this.settling.busy) return;
    const many = some.length > 5;
    const seen = this.store.state.revision;
    const put = await (many ? this.settling.run(some.length, (ticket) => this.#settled(some, ticket)) : this.#settled(some));
    if (put === some) return;
    const done = await this.store.change({ put }, some.length > 1 ? `settle ${some.length} paths` : "settle on edges", seen);
    if (many && done) this.say(`${some.length} paths settled together. Undo brings them back.`);
  }

  /** @template {Traced} T @param {T[]} paths @param {string} [ticket] @returns {Promise<T[]>} the same list when there is no answer */
  async #settled(paths, ticket) {
    const reach_px = Math.min(Math.max(this.board.reach(SETTLE_PX), 2.5), 6 * Math.max(1, this.store.state.size[0] / 1920));
    try {
      const answer = await this.studio.api.post("/api/trace/settle", { paths, reach_px, photo: this.photo, ticket });
      return answer.paths.map((/** @type {any} */ one) => one.path);
    } catch (error) {
      this.say(/** @type {Error} */ (error).message, "care");
      return paths;
    }
  }

  remove() {
    const ids = [...this.selected].filter((id) => !this.store.isLocked(id));
    if (!ids.length) return;
    this.select([]);
    this.store.change({ remove: ids }, ids.length > 1 ? `take out ${ids.length} paths` : "take out a path");
  }

  /** The corner in hand, else all that is. */
  removeInHand() {
    const [path] = this.#inHand();
    const less = path && this.selected.size === 1 && this.corner !== null ? withoutVertex(path, this.corner) : null;
    if (!less) {
      this.remove();
      return;
    }
    this.select([path.id]);
    this.store.change({ put: [{ ...path, ...less }] }, "take out a corner");
  }

  lock() {
    const paths = [...this.selected].map((id) => this.store.get(id)).filter((path) => path !== undefined);
    const locked = !paths.some((path) => path.locked);
    if (paths.length) this.store.change({ put: paths.map((path) => ({ ...path, locked })) }, locked ? "lock" : "unlock");
  }

  /** Move what is in hand so that its corner comes to a coordinate. @param {0 | 1} axis @param {number} value */
  place(axis, value) {
    const [path] = this.#inHand();
    if (!path) return;
    const corner = vertices(path)[this.corner ?? 0];
    const by = /** @type {Point} */ ([0, 0]);
    by[axis] = value - corner[axis];
    this.nudge(by, "place");
  }

  /** One step to a side: in photo pixels, or on the wall in millimetres. @param {Point} way @param {number} times */
  nudgeStep(way, times) {
    const [path] = this.#inHand();
    if (!path) return false;
    const size = this.step.size * times;
    if (this.step.unit === "px" || !this.wall?.metric) {
      this.nudge([way[0] * size, way[1] * size], "nudge");
      return true;
    }
    const corner = vertices(path)[this.corner ?? 0];
    const [x, y] = apply(this.wall.toWall, corner);
    const to = apply(this.wall.toPhoto, [x + (way[0] * size) / 1000, y - (way[1] * size) / 1000]);
    this.nudge([to[0] - corner[0], to[1] - corner[1]], "nudge");
    return true;
  }

  /** @param {Point} by @param {string} what */
  nudge(by, what) {
    const put = nudged(this, by);
    if (!put.length) return;
    this.store.change({ put }, what);
    this.announce(inHandInWords(this));
  }

  /** @param {readonly string[]} ids */
  look(ids) {
    const boxes = ids.map((id) => this.store.get(id)).filter((path) => path !== undefined).map((path) => box(path, 0.5));
    if (!boxes.length) return;
    this.board.fit({ left: Math.min(...boxes.map((b) => b.left)), top: Math.min(...boxes.map((b) => b.top)),
      right: Math.max(...boxes.map((b) => b.right)), bottom: Math.max(...boxes.map((b) => b.bottom)) });
  }

  /** A rectangle tells how the wall lies, unless it was measured. @param {Wall} wall */
  takeWall(wall) {
    if (!isMeasured(this.seen)) this.#tellWall({ ...this.seen.told, level: wall.across, plumb: wall.up });
  }

  /** One known length gives the wall its metres. @param {Point} a @param {Point} b @param {number} length_m */
  setLength(a, b, length_m) {
    if (!this.wall || !(length_m > 0)) return;
    this.#tellWall({ ...this.seen.told, length: { from_px: a, to_px: b, length_m } });
    this.say(`Lengths on the wall are in metres now: this one is ${length_m} m`);
  }

  /** Known here at once, in other windows in a moment, and after the next start. @param {any} told */
  async #tellWall(told) {
    this.#heardOfWall(told);
    try {
      await this.studio.api.put("/api/trace/wall", told);
    } catch (error) {
      this.say(/** @type {Error} */ (error).message, "care");
    }
  }

  /** @param {any} told */
  #heardOfWall(told) {
    this.seen = { ...this.seen, told };
    this.wall = wallOf(this.seen, this.store.state.size);
    this.refresh();
  }

  /** @param {string} name */
  setPhoto(name) {
    this.photo = name;
    const info = this.photos.find((/** @type {any} */ photo) => photo.name === name);
    if (info) this.board.show(info);
    this.refresh();
  }

  refresh() {
    this.panel.show();
    this.strip.show();
    this.preview.draw();
    this.board.redraw();
  }

  /** @param {string} text @param {"" | "care"} [kind] */
  say(text, kind = "") {
    this.studio.say(text, kind);
  }

  /** Read out only. @param {string} text */
  announce(text) {
    this.studio.announce(text);
  }

  #inHand() {
    return [...this.selected].filter((id) => !this.store.isLocked(id)).map((id) => this.store.get(id)).filter((path) => path !== undefined);
  }

  /** @param {(path: Traced) => Traced} change @param {string} what */
  #changeAll(change, what) {
    const put = this.#inHand().map(change);
    if (put.length) this.store.change({ put }, what);
  }

  #changed() {
    const ids = new Set(this.store.paths.map((path) => path.id));
    const left = [...this.selected].filter((id) => ids.has(id));
    if (left.length !== this.selected.size) this.selected = new Set(left);
    if (this.selected.size !== 1) this.corner = this.handle = null;
    this.refresh();
  }

  /** Another photo is drawn on: nothing that is seen here is where it was. */
  async #scanChanged() {
    const now = await this.studio.api.get("/api/photo/info").catch(() => null);
    if (now && now.scan !== this.scan) location.reload();
  }

  async #newPhotos() {
    this.photos = (await this.studio.api.get("/api/photo/info")).photos;
    this.strip.showPhotos();
    this.setPhoto(this.photos.some((/** @type {any} */ photo) => photo.name === this.photo) ? this.photo : "photo");
  }

  /** @param {Point} at @param {PointerEvent} event */
  #down(at, event) {
    this.pointer.active = false;
    if (this.proposals.open && this.toolName === "pick" && this.proposals.click(at)) return;
    this.tool.down(at, event);
    this.strip.show();
  }

  /** @param {Point} at @param {PointerEvent} event */
  #move(at, event) {
    this.pointer.active = false;
    if (this.proposals.open && this.toolName === "pick") this.proposals.hover(at);
    this.tool.move(at, event);
    this.strip.show();
  }

  /** @param {CanvasRenderingContext2D} context */
  #paint(context) {
    const painter = new Painter(context, this.board.view);
    const pick = /** @type {PickTool} */ (this.tools.pick);
    const hovered = this.toolName === "pick" ? pick.hovered?.id : null;
    for (const path of this.store.paths) {
      painter.traced(path, path.kind, { selected: this.selected.has(path.id), hovered: hovered === path.id, faint: this.selected.size > 0 && !this.selected.has(path.id) });
    }
    const [only] = this.selected;
    const path = this.selected.size === 1 ? this.store.get(only) : null;
    if (path) painter.handles(path, this.corner, this.store.isLocked(path.id), this.handle);
    this.proposals.paint(painter);
    this.tool.paint(painter);
    this.pointer.paint(painter);
    const { pointer } = this.board;
    if (this.loupe && pointer && (this.toolName !== "pick" || this.tool.busy)) {
      drawLoupe(context, this.board, this.tool.caught?.point ?? pointer, context.canvas, painter.colour("--mark"));
    }
  }
}

/** @param {any} seen @param {[number, number]} size @returns {Wall | null} */
function wallOf(seen, size) {
  const { told } = seen;
  const middle = /** @type {Point} */ ([size[0] / 2, size[1] * 0.75]);
  const wall = isMeasured(seen) ? wallFromMeasured(seen.measured) : null;
  const lies = wall ?? wallFromDirections(told.level ?? seen.level, told.plumb ?? seen.plumb, size, middle);
  return told.length && lies ? withLength(lies, told.length.from_px, told.length.to_px, told.length.length_m) : lies;
}

/** Whether enough of the wall was measured with a tape. @param {any} seen */
const isMeasured = (seen) => seen.measured.length >= 4;
