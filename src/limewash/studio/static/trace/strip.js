// @ts-check
/** The strips above and below the board: photos, finding, files; hint, place, scale. */
import { button, el, numberOf } from "../dom.js";
import { apply } from "../geometry/homography.js";
import { wallDistance } from "../geometry/perspective.js";
import { roving } from "../roving.js";

const CATCHES = { corner: "corner", middle: "middle", crossing: "crossing", line: "on a line", extension: "extension", parallel: "parallel", level: "level", plumb: "plumb", free: "" };

export class Strip {
  #photos = roving(el("div", { class: "segmented", role: "radiogroup", "aria-label": "Photo" }));
  #hint = el("span", { class: "hint" });
  #place = el("span", { class: "figures place" });
  #scale = el("button", { type: "button", class: "figures scale", title: "The whole photo (F)" });
  #length = el("form", { class: "length", hidden: true });
  #toggles;

  /** @param {import("./desk.js").Desk} desk */
  constructor(desk) {
    this.desk = desk;
    const toggle = (/** @type {"catches" | "settles" | "loupe"} */ name, /** @type {string} */ text, /** @type {string} */ label) =>
      [name, button({ text, label, run: () => { desk[name] = !desk[name]; desk.refresh(); } })];
    this.#toggles = Object.fromEntries([
      toggle("catches", "Catch", "The pointer is caught by corners, lines, level and plumb (G); Alt holds it off"),
      toggle("settles", "Settle", "What is drawn moves onto the photo's edges by itself (Shift+S)"),
      toggle("loupe", "Loupe", "Loupe while drawing (Z)"),
    ]);
    const file = (/** @type {string} */ accept, /** @type {(file: File) => void} */ took) => el("input", { type: "file", accept, hidden: true,
      on: { change: (/** @type {any} */ event) => { const [chosen] = event.target.files; if (chosen) took(chosen); event.target.value = ""; } } });
    const drawing = file(".svg,image/svg+xml", (chosen) => this.#takeDrawing(chosen));
    const daylight = file("image/jpeg,image/png", (chosen) => this.#takeDaylight(chosen));
    this.top = el("div", { class: "strip", role: "group", "aria-label": "Photo and files" },
      this.#photos, button({ text: "Add daylight", label: "Lay a daylight photo under the scan's photo", run: () => daylight.click() }), daylight,
      el("span", { class: "bar-gap" }), desk.byEyeScan ? null : desk.proposals.ask,
      button({ text: "Draw on the house", icon: "pen", label: "Draw with a cross-hair in the projector's light, looking at the house", href: "/trace/house" }),
      el("span", { class: "end" }),
      button({ icon: "up", label: "Take in a drawing (SVG) made over the photo elsewhere", run: () => drawing.click() }), drawing,
      button({ icon: "save", label: "Save the tracing as SVG for any vector editor", href: "/api/tracing/file" }),
      el("span", { class: "bar-gap" }), ...Object.values(this.#toggles));
    this.foot = el("div", { class: "strip foot" }, this.#hint, this.#length, this.#place, this.#scale);
    this.#scale.addEventListener("click", () => desk.board.fit());
    this.showPhotos();
  }

  showPhotos() {
    const { desk } = this;
    const words = { photo: desk.byEyeScan ? "Projector's picture" : "Scan photo", daylight: "Daylight" };
    this.#photos.replaceChildren(...desk.photos.map((/** @type {any} */ photo) => el("button", { type: "button", role: "radio", class: "button", "data-photo": photo.name,
      on: { click: () => desk.setPhoto(photo.name) } }, words[/** @type {"photo" | "daylight"} */ (photo.name)] ?? photo.name)));
  }

  otherPhoto() {
    const { desk } = this;
    const names = desk.photos.map((/** @type {any} */ photo) => photo.name);
    desk.setPhoto(names[(names.indexOf(desk.photo) + 1) % names.length]);
  }

  show() {
    const { desk } = this;
    for (const chip of this.#photos.children) {
      chip.setAttribute("aria-checked", String(chip.dataset.photo === desk.photo));
    }
    for (const [name, control] of Object.entries(this.#toggles)) control.setAttribute("aria-pressed", String(desk[/** @type {"loupe"} */ (name)]));
    const hint = desk.tool.hint;
    if (this.#hint.textContent !== hint) {
      this.#hint.textContent = hint;
      if (desk.toolName !== "pick") desk.announce(hint);
    }
    this.#place.textContent = this.placeInWords;
    const percent = desk.board.view.scale * desk.board.ratio * 100;
    this.#scale.textContent = `${percent < 10 ? percent.toFixed(1) : Math.round(percent)} %`;
  }

  /** Where the pointer is and what holds it. */
  get placeInWords() {
    const { tool, board, wall } = this.desk;
    const held = tool.caught ? CATCHES[tool.caught.kind] : "";
    const at = tool.caught?.point ?? board.pointer;
    const metres = at && wall?.metric ? apply(wall.toWall, at) : null;
    return at ? [held, `${at[0].toFixed(1)}, ${at[1].toFixed(1)} px`, metres ? `${metres[0].toFixed(2)}, ${metres[1].toFixed(2)} m` : ""].filter(Boolean).join("   ") : "";
  }

  /** A length was measured: ask what it is in truth. @param {import("../geometry/vector.js").Point} a @param {import("../geometry/vector.js").Point} b */
  askLength(a, b) {
    const { wall } = this.desk;
    if (!wall) return;
    const input = el("input", { inputmode: "decimal", autocomplete: "off", "aria-label": "Length in metres", value: wall.metric ? wallDistance(wall, a, b).toFixed(3) : "" });
    this.#length.replaceChildren("is in truth", input, "m", el("button", { class: "button" }, "Take"));
    this.#length.hidden = false;
    this.#length.onkeydown = (/** @type {KeyboardEvent} */ event) => {
      if (event.key !== "Escape") return;
      this.#length.hidden = true;
      this.desk.board.focus({ preventScroll: true });
    };
    this.#length.onsubmit = (/** @type {Event} */ event) => {
      event.preventDefault();
      const length_m = numberOf(input.value);
      if (!(length_m > 0)) return this.desk.say("Give the length in metres, as 1.25", "care");
      this.#length.hidden = true;
      this.desk.setLength(a, b, length_m);
      this.desk.board.focus({ preventScroll: true });
    };
    if (!wall.metric || this.desk.pointer.active) input.focus();
  }

  /** @param {File} file */
  async #takeDrawing(file) {
    const { studio } = this.desk;
    try {
      const state = await studio.api.send("PUT", `/api/trace/drawing?name=${encodeURIComponent(file.name)}`, file);
      this.desk.store.take(state);
      studio.say(`${file.name} is the tracing now: ${state.paths.length} paths. Undo brings the old one back.`);
    } catch (error) {
      studio.say(/** @type {Error} */ (error).message, "care");
    }
  }

  /** @param {File} file */
  async #takeDaylight(file) {
    const { studio } = this.desk;
    studio.say("Looking how the daylight photo lies");
    try {
      const laid = await studio.api.upload(`/api/trace/daylight?name=${encodeURIComponent(file.name)}`, file, () => {});
      const sure = laid.residual_px < 1.5 && laid.share > 0.3;
      studio.say(`It lies to ${laid.residual_px.toFixed(2)} px (95 of 100 details within ${laid.p95_px.toFixed(1)} px, ${laid.matches} details).`
        + (sure ? "" : " Draw on the scan's photo where it matters."), sure ? "" : "care");
      this.desk.photo = "daylight";
    } catch (error) {
      studio.say(/** @type {Error} */ (error).message, "care");
    }
  }
}
