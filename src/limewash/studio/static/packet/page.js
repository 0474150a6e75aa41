// @ts-check
/** For an outside artist: the packet to hand over, and the film that comes back. */

import * as api from "../api.js";
import { button, el, icon } from "../dom.js";
import { jobPlace, startJob } from "../jobs.js";
import { findingNote } from "../scan/page.js";

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = "For an artist - Limewash";
  if (!studio.project) throw new api.Refused(422, { message: "No project is open; open one on the start page." });
  const [width, height] = studio.project.projector_size;
  const outcome = el("div", { class: "stack" });
  const download = button({ icon: "save", text: "Download the packet", kind: "main", href: "/api/packet/file" });
  download.hidden = true;
  const name = el("input", { id: "film-name", value: "from-outside", maxlength: 60, autocomplete: "off" });
  const zone = dropZone((file) => send(file));
  const jobs = jobPlace(studio, ["packet", "film"], (job) => {
    if (job.kind === "packet") {
      download.hidden = false;
      studio.say("The packet is ready.");
    } else showOutcome(job.result);
  });
  root.append(el("div", { class: "page packet" },
    el("div", {}, el("h1", {}, "Somebody else draws the film"), el("p", { class: "soft" }, "Hand them everything they need, and check what comes back before it is on the house.")),
    el("div", { class: "two" },
      el("section", { class: "sheet stack" }, el("h2", {}, "The packet"),
        el("ul", { class: "plain" },
          ...["A template frame at native size to draw over", "The map: every line in projector pixels, as PNG and SVG", "A mask for each window, door and wall",
            "The photo, and the daylight photo if there is one", "Metres of the wall for each projector pixel", `A page that says: ${width} × ${height}, frame rate, levels, what stays dark`]
            .map((text) => el("li", {}, icon("done"), text))),
        studio.project.stages.trace.state === "done" ? null : el("div", { class: "note care" }, icon("care"), el("div", { class: "stack" },
          el("p", {}, "It needs the map: trace the house, then make the map on the Show page."), el("div", {}, button({ text: "To the tracing", href: "/trace" })))),
        el("div", { class: "row" }, button({ icon: "box", text: "Pack it", run: () => startJob(studio, () => api.post("/api/packet")) }), download)),
      el("section", { class: "sheet stack" }, el("h2", {}, "The film that comes back"),
        el("div", { class: "field" }, el("label", { for: "film-name" }, "Name of the show"), name),
        zone,
        el("p", { class: "soft small" }, "Checked for size, frame rate, pixel shape, levels, black, and light on what is to be kept dark."))),
    jobs, outcome));

  /** @param {File} file */
  async function send(file) {
    outcome.replaceChildren();
    const words = zone.querySelector("span");
    try {
      await api.upload(`/api/shows/${encodeURIComponent(name.value.trim() || "from-outside")}/returned?file=${encodeURIComponent(file.name)}`, file,
        (share) => { words.textContent = `${Math.round(share * 100)} % handed over`; });
    } catch (error) {
      studio.say(/** @type {Error} */ (error).message, "care", true);
    }
    words.textContent = "Drop the film here, or choose it";
  }

  /** @param {any} result */
  function showOutcome(result) {
    outcome.replaceChildren(
      el("div", { class: "row" }, el("h2", {}, result.taken ? `Taken in as the show "${result.name}"` : "Not taken in yet"),
        result.taken ? button({ icon: "play", text: "To the show", kind: "main end", href: "/show" })
          : button({ text: "Take it anyway", kind: "end", run: () => startJob(studio, () => api.post(`/api/shows/${encodeURIComponent(result.name)}/returned/anyway`, { film: result.film })) })),
      ...result.findings.map(findingNote));
    if (result.taken) sessionStorage.setItem("limewash.show", result.name);
  }
}

/** @param {(file: File) => void} take */
function dropZone(take) {
  const input = el("input", { type: "file", accept: "video/*", class: "unseen", id: "film", on: { change: () => input.files?.[0] && take(input.files[0]) } });
  const zone = el("label", { for: "film", class: "empty drop" }, icon("up"), el("span", {}, "Drop the film here, or choose it"), input);
  for (const type of ["dragover", "dragleave", "drop"]) {
    zone.addEventListener(type, (/** @type {DragEvent} */ event) => {
      event.preventDefault();
      zone.classList.toggle("over", type === "dragover");
      const file = event.dataTransfer?.files[0];
      if (type === "drop" && file) take(file);
    });
  }
  return zone;
}
