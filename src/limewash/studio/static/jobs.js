// @ts-check
/** Long work as a person sees it: a bar, what it is at, a way to stop it. */

import { button, el, icon } from "./dom.js";
import { announce } from "./said.js";

/**
 * Follows jobs of some kinds in one place that keeps its size. `done` is called with the result of each.
 * @param {any} studio @param {string[]} kinds @param {(job: any) => void} done
 */
export function jobPlace(studio, kinds, done) {
  const place = el("div", { class: "job-place" });
  /** @type {Set<number>} */
  const ended = new Set();
  /** @type {{id: number, element: HTMLElement, show: (job: any) => void} | null} what is seen of the job that runs */
  let seen = null;
  /** @param {any} job @param {boolean} fresh */
  function take(job, fresh) {
    if (!kinds.includes(job.kind)) return;
    if (["waiting", "running"].includes(job.state)) {
      if (ended.has(job.id)) return; // its end was told before this answer came
      const same = seen?.id === job.id ? seen : null;
      seen = same ?? running(studio, job);
      seen.show(job);
      if (same) return;
      place.replaceChildren(seen.element);
      announce(`${job.title}: begun`);
    } else if (!ended.has(job.id)) {
      ended.add(job.id);
      if (!fresh) return; // ended before this page was opened
      seen = null;
      place.replaceChildren(...(job.state === "failed" ? [failed(job)] : []));
      if (job.state === "failed") announce(`${job.title}: ${job.message}`);
      if (job.state === "done") done(job);
    }
  }
  const read = async () => (await studio.api.get("/api/jobs")).forEach((/** @type {any} */ job) => take(job, false));
  read();
  studio.live.on("again", () => { // jobs end with the studio, and another one numbers its own anew
    ended.clear();
    seen = null;
    place.replaceChildren();
    read();
  });
  studio.live.on("job", (/** @type {any} */ message) => take(message.job, true));
  return place;
}

/** Made once: what has the focus keeps it while the bar moves. @param {any} studio @param {any} job */
function running(studio, job) {
  const words = el("span", { class: "soft small" });
  const bar = el("i", {});
  const meter = el("div", { class: "meter", role: "progressbar", "aria-label": job.title, "aria-valuemin": 0, "aria-valuemax": 100 }, bar);
  const share = el("span", { class: "number soft small" });
  const element = el("div", { class: "sheet job" },
    el("div", {}, el("strong", {}, job.title), words),
    button({ icon: "stop", text: "Stop", run: () => studio.api.del(`/api/jobs/${job.id}`) }), meter, share);
  const show = (/** @type {any} */ now) => {
    const percent = Math.round(now.share * 100);
    words.textContent = `  ${now.state === "waiting" ? "waits for another job" : now.doing || "starting"}`;
    bar.style.setProperty("--share", String(now.share));
    meter.setAttribute("aria-valuenow", String(percent));
    share.textContent = `${percent} %`;
  };
  return { id: job.id, element, show };
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
