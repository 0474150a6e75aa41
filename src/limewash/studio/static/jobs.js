// @ts-check
/** Long work as a person sees it: a bar, what it is at, a way to stop it. */

import { button, el, icon } from "./dom.js";

/**
 * Follows jobs of some kinds in one place that keeps its size. `done` is called with the result of each.
 * @param {any} studio @param {string[]} kinds @param {(job: any) => void} done
 */
export function jobPlace(studio, kinds, done) {
  const place = el("div", { class: "job-place", role: "status", "aria-live": "polite" });
  /** @type {Set<number>} */
  const ended = new Set();
  /** @param {any} job @param {boolean} fresh */
  function take(job, fresh) {
    if (!kinds.includes(job.kind)) return;
    if (["waiting", "running"].includes(job.state)) place.replaceChildren(running(studio, job));
    else if (!ended.has(job.id)) {
      ended.add(job.id);
      if (!fresh) return; // ended before this page was opened
      place.replaceChildren(...(job.state === "failed" ? [failed(job)] : []));
      if (job.state === "done") done(job);
    }
  }
  studio.api.get("/api/jobs").then((/** @type {any[]} */ jobs) => jobs.forEach((job) => take(job, false)));
  studio.live.on("job", (/** @type {any} */ message) => take(message.job, true));
  return place;
}

/** @param {any} studio @param {any} job */
function running(studio, job) {
  const words = job.state === "waiting" ? "waits for another job" : job.doing || "starting";
  return el("div", { class: "sheet job" },
    el("div", {}, el("strong", {}, job.title), el("span", { class: "soft small" }, `  ${words}`)),
    button({ icon: "stop", text: "Stop", run: () => studio.api.del(`/api/jobs/${job.id}`) }),
    el("div", { class: "meter", role: "progressbar", "aria-valuenow": Math.round(job.share * 100), "aria-label": job.title },
      el("i", { style: `--share: ${job.share}` })),
    el("span", { class: "number soft small" }, `${Math.round(job.share * 100)} %`));
}

/** @param {any} job */
function failed(job) {
  return el("div", { class: "note care" }, icon("care"), el("div", {}, el("strong", {}, job.title), el("p", {}, job.message)));
}

/**
 * Start work and say what the server refuses.
 * @param {any} studio @param {() => Promise<any>} begin
 */
export async function startJob(studio, begin) {
  try {
    return await begin();
  } catch (error) {
    studio.say(/** @type {Error} */ (error).message, "care");
    return null;
  }
}
