// @ts-check
/** The scan: pattern film, filming, reading the clip, what was found, which scan is in use. */

import * as api from "../api.js";
import { button, el, icon, redrawn } from "../dom.js";
import { jobPlace, startJob } from "../jobs.js";
import { cameraSheet } from "./camera.js";

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = "Scan - Limewash";
  if (!studio.project) throw new api.Refused(422, { message: "No project is open; open one on the start page." });
  const page = new ScanPage(studio);
  root.append(page.element);
  await page.refresh();
}

class ScanPage {
  /** @param {any} studio */
  constructor(studio) {
    this.studio = studio;
    this.pattern = el("div", { class: "stack" });
    this.upload = el("div", { class: "upload" });
    this.steps = el("div", { class: "tools stack wide" });
    this.board = el("div", { class: "board" });
    this.element = el("div", { class: "bench scan" }, this.steps, this.board);
    this.chosen = "";
    const jobs = jobPlace(studio, ["pattern", "read"], (job) => this.done(job));
    this.steps.append(
      step(1, "The pattern film", this.pattern),
      step(2, "Film it on the house", el("ul", { class: "plain small" },
        el("li", {}, "Play it full screen on the player and projector of the show, keystone correction off."),
        el("li", {}, "Phone on a tripod, the whole picture in view; touch neither phone nor projector until the last card."),
        el("li", {}, "Dark enough that the picture is clearly seen. Nobody looks into the lens."),
        el("li", {}, "The pattern flashes for half a minute: warn those who cannot bear flashing light.")),
        el("div", {}, button({ icon: "camera", text: "Use a camera on this computer", run: () => cameraSheet(studio, () => this.refresh()) }))),
      step(3, "Hand over the clip", this.upload),
      jobs,
      el("details", {}, el("summary", {}, "Without a camera"), el("div", { class: "stack small" },
        el("p", {}, "Draw on the house itself while looking at it, through the projector. No scan is needed; map and show follow from the drawing."),
        button({ icon: "pen", text: "Begin by eye", run: () => this.byEye() }))));
    this.drawUpload();
    studio.live.on("scan", () => this.refresh());
  }

  async refresh() {
    this.scans = await this.studio.api.get("/api/scan");
    const inUse = this.scans.scans.find((/** @type {any} */ one) => one.in_use);
    if (!this.scans.scans.some((/** @type {any} */ one) => one.name === this.chosen)) this.chosen = inUse?.name ?? "";
    this.drawPattern();
    await this.drawBoard();
  }

  drawPattern() {
    const [width, height] = this.scans.projector_size;
    const forms = { usual: "to scan the house", short: "to find a bumped projector again" };
    const form = el("select", { "aria-label": "Form of the pattern" }, ...Object.entries(forms).map(([one, words]) =>
      el("option", { value: one }, `${Math.round(this.scans.pattern_s[one])} s, ${words}`)));
    const rate = el("select", { "aria-label": "Frames a second" }, ...[30, 25, 24, 50, 60].map((one) => el("option", { value: one }, `${one} frames a second`)));
    redrawn(this.pattern, () => this.pattern.replaceChildren(
      el("p", { class: "small" }, `For ${width} × ${height} pixels. Made for this projector alone: change its size on the Site page.`),
      el("div", { class: "row" }, el("span", { class: "form" }, form), el("span", { class: "rate" }, rate),
        button({ icon: "film", text: this.scans.pattern ? "Make it again" : "Make it", kind: this.scans.pattern ? "" : "main",
          run: () => startJob(this.studio, () => api.post("/api/scan/pattern", { rate: Number(rate.value), form: form.value })) }),
        this.scans.pattern ? button({ icon: "save", text: "Download", kind: "main", href: "/api/scan/pattern/file" }) : "")));
  }

  drawUpload() {
    const input = el("input", { type: "file", accept: "video/*,.zip", class: "unseen", id: "clip", on: { change: () => input.files?.[0] && this.send(input.files[0]) } });
    const zone = el("label", { for: "clip", class: "empty drop" }, icon("up"), el("span", {}, "Drop the clip here, or choose it; photos of the pictures go into one ZIP file"), input);
    for (const type of ["dragover", "dragleave", "drop"]) {
      zone.addEventListener(type, (/** @type {DragEvent} */ event) => {
        event.preventDefault();
        zone.classList.toggle("over", type === "dragover");
        const file = event.dataTransfer?.files[0];
        if (type === "drop" && file) this.send(file);
      });
    }
    this.upload.replaceChildren(zone);
  }

  /** @param {File} file */
  async send(file) {
    const stop = new AbortController();
    const bar = el("i", {});
    this.upload.replaceChildren(el("div", { class: "sheet job" },
      el("div", {}, el("strong", {}, file.name), el("span", { class: "soft small" }, `  ${Math.round(file.size / 1e6)} MB`)),
      button({ icon: "stop", text: "Stop", run: () => stop.abort() }), el("div", { class: "meter" }, bar)));
    try {
      await api.upload(`/api/scan/clip?name=${encodeURIComponent(file.name)}`, file, (share) => bar.style.setProperty("--share", String(share)), stop.signal);
    } catch (error) {
      this.studio.say(/** @type {Error} */ (error).message, "care", true);
    }
    this.drawUpload();
  }

  /** @param {any} job */
  done(job) {
    if (job.kind === "read") {
      this.chosen = job.result.scan;
      this.studio.say(job.result.warnings ? "The clip is read; look at the warnings." : "The clip is read, all is well.");
    }
    this.refresh();
  }

  async byEye() {
    const sure = await this.studio.ask({ title: "Begin by eye?", text: "The photo to trace on becomes the projector's own picture. Scans that you have stay as they are.", yes: "Begin" });
    if (!sure) return;
    if (await startJob(this.studio, () => api.post("/api/scan/by-eye"))) location.assign("/trace/house");
  }

  async drawBoard() {
    const { scans } = this.scans;
    if (!scans.length) {
      this.board.replaceChildren(el("div", { class: "empty tall" }, icon("camera"), el("h2", {}, "No scan yet"),
        el("p", {}, "The pattern film tells Limewash where each projector pixel lands. After that, drawing on the photo is drawing on the house."),
        el("p", {}, this.scans.pattern ? "The pattern film is made: film it on the house, step 2, and hand over the clip." : "Begin with step 1: make the pattern film.")));
      return;
    }
    const scan = scans.find((/** @type {any} */ one) => one.name === this.chosen) ?? scans.at(-1);
    const found = scan.by_eye ? [] : await api.get(`/api/scan/${encodeURIComponent(scan.name)}/findings`);
    const stamp = encodeURIComponent(scan.made);
    const net = el("img", { src: `/api/scan/${encodeURIComponent(scan.name)}/overlay?${stamp}`, alt: "The projector's pixels as a net over the photo", class: "net" });
    const photo = el("img", { src: `/api/scan/${encodeURIComponent(scan.name)}/photo?${stamp}`, alt: "The photo by the projector's light", hidden: true });
    const views = [net, photo];
    const view = el("div", { class: "segmented", role: "group", "aria-label": "What is shown" }, ...["Net", "Photo"].map((name, n) => {
      const one = el("button", { class: "button", type: "button", "aria-pressed": String(n === 0), on: { click: () => {
        views.forEach((image, m) => { image.hidden = m !== n; });
        [...view.children].forEach((child, m) => child.setAttribute("aria-pressed", String(m === n)));
      } } }, name);
      return one;
    }));
    redrawn(this.board, () => this.board.replaceChildren(
      el("div", { class: "row" },
        el("div", { class: "segmented", role: "group", "aria-label": "Scans" }, ...scans.map((/** @type {any} */ one) => el("button", {
          class: "button", type: "button", "aria-pressed": String(one === scan), on: { click: () => { this.chosen = one.name; this.drawBoard(); } },
        }, one.name, one.in_use ? icon("done") : ""))),
        scan.in_use ? el("span", { class: "soft small" }, "in use")
          : button({ text: "Trace on this scan", kind: "main", run: () => this.use(scan.name) }),
        el("span", { class: "grow" }), view),
      el("figure", { class: "plate scan-plate" }, net, photo),
      el("p", { class: "soft small" }, scan.by_eye ? "Drawn by eye: the photo is the projector's own picture." :
        "Each mesh of the net is a twenty-fourth of the projector's width. Dark places were not seen by the camera."),
      el("div", { class: "stack" }, ...found.map(findingNote))));
  }

  /** @param {string} name */
  async use(name) {
    await startJob(this.studio, () => api.post("/api/scan/use", { name }));
    await this.refresh();
  }
}

/** @param {number} number @param {string} title @param {...Node} children */
function step(number, title, ...children) {
  return el("section", { class: "step stack" }, el("h2", {}, el("span", { class: "step-number", "aria-hidden": "true" }, String(number)), title), ...children);
}

/** @param {any} finding */
export function findingNote(finding) {
  const sign = finding.severity === "warning" ? "care" : finding.severity === "good" ? "done" : "about";
  return el("div", { class: `note ${finding.severity === "warning" ? "care" : finding.severity === "good" ? "good" : ""}` },
    icon(sign), el("div", {}, el("p", {}, finding.text), finding.remedy ? el("p", { class: "soft" }, finding.remedy) : null));
}
