// @ts-check
/**
 * The photo in tiles: those that are seen are fetched, the middle ones first, and kept while there is room.
 *
 * @typedef {import("../geometry/view.js").View} View
 * @typedef {{name: string, width: number, height: number, tile_px: number, version: string, levels: {width: number, height: number, columns: number, rows: number}[]}} PhotoInfo
 */
import { levelFor, tilesSeen } from "../geometry/view.js";

const MOST_KEPT = 400;
const AT_ONCE = 6;

export class Tiles {
  /** @type {Map<string, ImageBitmap | null>} null: asked for */
  #kept = new Map();
  /** @type {string[]} */
  #queue = [];
  #running = 0;

  /** @param {PhotoInfo} info @param {() => void} changed called when a tile has come */
  constructor(info, changed) {
    this.info = info;
    this.changed = changed;
  }

  /**
   * Draw what is seen; where a tile is missing yet, what there is of coarser levels.
   * @param {CanvasRenderingContext2D} context in screen pixels @param {View} view @param {[number, number]} screen @param {number} ratio device pixels a screen pixel
   * @param {boolean} quick while it moves: smoothing that costs less
   */
  draw(context, view, screen, ratio, quick) {
    const { info } = this;
    const level = levelFor(view.scale * ratio, info.levels.length);
    context.imageSmoothingEnabled = view.scale * ratio < 3; // close up, pixels are pixels
    context.imageSmoothingQuality = quick ? "low" : "medium";
    // What lies under a whole level is not seen.
    for (let coarse = this.isWhole(view, screen, ratio) ? level : info.levels.length - 1; coarse >= level; coarse--) {
      const seen = tilesSeen(view, screen, [info.width, info.height], coarse, info.tile_px);
      const needed = coarse === level || coarse === info.levels.length - 1;
      for (const tile of seen) {
        const image = needed ? this.#tile(coarse, tile.column, tile.row) : this.#kept.get(this.#name(coarse, tile.column, tile.row));
        if (image) this.#drawTile(context, view, coarse, tile, image);
      }
    }
  }

  /** Whether all tiles of the best level that are seen have come. @param {View} view @param {[number, number]} screen @param {number} ratio */
  isWhole(view, screen, ratio) {
    const level = levelFor(view.scale * ratio, this.info.levels.length);
    const seen = tilesSeen(view, screen, [this.info.width, this.info.height], level, this.info.tile_px);
    return seen.every(({ column, row }) => this.#kept.get(this.#name(level, column, row)));
  }

  /** @param {CanvasRenderingContext2D} context @param {View} view @param {number} level @param {{column: number, row: number}} tile @param {ImageBitmap} image */
  #drawTile(context, view, level, { column, row }, image) {
    const step = 2 ** level;
    // Sizes of levels are rounded: the last tile ends where the photo ends.
    const x = column * this.info.tile_px * step - 0.5;
    const y = row * this.info.tile_px * step - 0.5;
    const right = Math.min(x + image.width * step, this.info.width - 0.5);
    const bottom = Math.min(y + image.height * step, this.info.height - 0.5);
    context.drawImage(image, x * view.scale + view.x, y * view.scale + view.y, (right - x) * view.scale, (bottom - y) * view.scale);
  }

  /** @param {number} level @param {number} column @param {number} row */
  #name(level, column, row) {
    return `${level}/${column}/${row}`;
  }

  /** @param {number} level @param {number} column @param {number} row @returns {ImageBitmap | null} */
  #tile(level, column, row) {
    const name = this.#name(level, column, row);
    const kept = this.#kept.get(name);
    if (kept) {
      this.#kept.delete(name); // to the end of the line: used last, dropped last
      this.#kept.set(name, kept);
      return kept;
    }
    if (kept === undefined) {
      this.#kept.set(name, null);
      this.#queue.push(name);
      this.#fetchSome();
    }
    return null;
  }

  #fetchSome() {
    while (this.#running < AT_ONCE && this.#queue.length) {
      const name = /** @type {string} */ (this.#queue.pop()); // what was asked for last is what is looked at now
      this.#running++;
      this.#fetch(name).finally(() => {
        this.#running--;
        this.#fetchSome();
      });
    }
  }

  /** @param {string} name */
  async #fetch(name) {
    try {
      const answer = await fetch(`/api/photo/tiles/${name}?photo=${this.info.name}&v=${encodeURIComponent(this.info.version)}`);
      if (!answer.ok) throw new Error(`tile ${name}: ${answer.status}`);
      this.#kept.set(name, await createImageBitmap(await answer.blob()));
    } catch {
      this.#kept.delete(name); // asked for again when it is next seen
      return;
    }
    for (const [old, image] of this.#kept) {
      if (this.#kept.size <= MOST_KEPT) break;
      if (image && !old.startsWith(`${this.info.levels.length - 1}/`)) {
        image.close();
        this.#kept.delete(old);
      }
    }
    this.changed();
  }
}
