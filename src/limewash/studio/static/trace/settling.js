// @ts-check
/** Settling many paths at once: a bar that tells how far it is, and a way to stop it. */
import { button, el } from "../dom.js";

export class Settling {
  #words = el("span", { class: "grow" });
  #bar = el("i", {});
  #meter = el("div", { class: "meter", role: "progressbar", "aria-label": "Settling", "aria-valuemin": 0, "aria-valuemax": 100 }, this.#bar);
  /** @type {string | null} */
  #ticket = null;

  /** @param {any} studio */
  constructor(studio) {
    this.studio = studio;
    this.element = el("div", { class: "found settling", hidden: true },
      el("div", { class: "row" }, this.#words, button({ icon: "stop", text: "Stop", label: "Leave everything where it is (Esc)", run: () => this.stop() })), this.#meter);
    studio.live.on("settling", (/** @type {any} */ message) => message.ticket === this.#ticket && this.#show(message.share));
  }

  get busy() {
    return this.#ticket !== null;
  }

  /** @template T @param {number} count @param {(ticket: string) => Promise<T>} work @returns {Promise<T>} */
  async run(count, work) {
    const ticket = `${this.studio.live.client}-${Date.now()}`;
    this.#ticket = ticket;
    this.#words.textContent = `Settling ${count} paths on the photo's edges`;
    this.studio.announce(this.#words.textContent);
    this.#show(0);
    this.element.hidden = false;
    try {
      return await work(ticket);
    } finally {
      this.#ticket = null;
      this.element.hidden = true;
    }
  }

  stop() {
    if (this.#ticket) this.studio.api.del(`/api/trace/settle/${this.#ticket}`);
  }

  /** @param {number} share */
  #show(share) {
    this.#bar.style.setProperty("--share", String(share));
    this.#meter.setAttribute("aria-valuenow", String(Math.round(share * 100)));
  }
}
