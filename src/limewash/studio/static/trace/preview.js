// @ts-check
/**
 * The map beside the board: the tracing in projector pixels, following the hand.
 *
 * @typedef {{id: string, kind: string, title: string, closed: boolean, points: [number, number][]}} Carried
 */
import { button, el } from "../dom.js";

export class MapPreview {
  /** @type {Carried[]} */
  #paths = [];
  /** @type {Map<string, Carried>} */
  #dragged = new Map();
  /** @type {[number, number]} */
  #size = [1920, 1080];
  #canvas = el("canvas", { class: "map-canvas", role: "img", "aria-label": "The map in projector pixels" });
  #caption = el("span", { class: "small soft figures" });
  #reading = false;
  #again = false;

  /** @param {any} studio @param {import("./tool.js").Bench} bench */
  constructor(studio, bench) {
    this.studio = studio;
    this.bench = bench;
    this.#caption.textContent = "Map";
    this.shine = button({ text: "On the house", icon: "beam", label: "Show the tracing on the projector (P)", run: () => this.toggle() });
    this.element = el("section", { class: "map-preview", "aria-label": "Map" }, this.#canvas,
      el("div", { class: "row" }, this.#caption, el("span", { class: "end" }, this.shine)));
    studio.projector.watch((/** @type {any} */ state) => {
      const lit = state.what === "tracing" && !state.blanked;
      this.shine.setAttribute("aria-pressed", String(lit));
    });
    studio.live.on("drag", (/** @type {any} */ message) => { if (message.carried) { this.#dragged.set(message.carried.id, message.carried); this.draw(); } });
    studio.live.on("drag-end", (/** @type {any} */ message) => { this.#dragged.delete(message.id); this.draw(); });
    studio.live.on("tracing", () => this.read());
    studio.live.on("map", () => this.read());
    new ResizeObserver(() => this.draw()).observe(this.#canvas);
  }

  /** Lines in projector pixels on the projector page, or black again. */
  toggle() {
    const lit = this.studio.projector.state.what === "tracing" && !this.studio.projector.state.blanked;
    this.studio.projector.show(lit ? "black" : "tracing");
  }

  async read() {
    if (this.#reading) {
      this.#again = true;
      return;
    }
    this.#reading = true;
    do {
      this.#again = false;
      try {
        const answer = await this.studio.api.get("/api/map/preview");
        this.#paths = answer.paths;
        this.#size = answer.size;
        this.#dragged.clear();
      } catch (error) {
        this.studio.say(/** @type {Error} */ (error).message, "care");
      }
      this.draw();
    } while (this.#again);
    this.#reading = false;
  }

  draw() {
    const canvas = /** @type {HTMLCanvasElement} */ (this.#canvas);
    const ratio = devicePixelRatio;
    const width = canvas.clientWidth;
    if (!width) return;
    const [w, h] = this.#size;
    canvas.style.aspectRatio = `${w} / ${h}`;
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round((width * h * ratio) / w);
    const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { alpha: false }));
    const scale = canvas.width / w;
    context.setTransform(scale, 0, 0, scale, 0.5 * scale, 0.5 * scale);
    context.lineJoin = "round";
    const known = new Set(this.#paths.map((path) => path.id));
    const shown = [...this.#paths.map((path) => this.#dragged.get(path.id) ?? path), ...[...this.#dragged.values()].filter((path) => !known.has(path.id))];
    const style = getComputedStyle(document.documentElement);
    for (const path of shown) {
      const selected = this.bench.selected.has(path.id);
      context.beginPath();
      path.points.forEach(([x, y], n) => (n ? context.lineTo(x, y) : context.moveTo(x, y)));
      if (path.closed) context.closePath();
      context.strokeStyle = style.getPropertyValue(`--k-${path.kind}`);
      context.lineWidth = ((selected ? 2.4 : 1.1) * ratio) / scale;
      context.globalAlpha = selected || !this.bench.selected.size ? 1 : 0.55;
      context.stroke();
    }
    this.#caption.textContent = `Map, ${w} × ${h}`;
  }
}
