// @ts-check
/**
 * What the studio found by itself, to accept, adjust or refuse.
 *
 * @typedef {import("./store.js").Traced} Traced
 * @typedef {{path: Traced, confidence: number, refused: boolean}} Proposal
 */
import { button, el } from "../dom.js";
import { pick } from "../geometry/pick.js";

export class Proposals {
  /** @type {Proposal[]} */
  list = [];
  /** @type {Proposal | null} the one that is looked at */
  now = null;
  /** @type {Proposal | null} */
  #hovered = null;
  #words = el("p", { class: "found-words" });
  #yes = button({ kind: "main", label: "Accept all that are not refused (Enter)", text: "Accept", run: () => this.accept() });
  #next = button({ text: "Look at each", label: "Go through them one by one (J)", run: () => this.next() });
  #refuse = button({ text: "Refuse this", label: "Refuse the one that is looked at, or take it back (Delete)", run: () => this.now && this.toggle(this.now) });
  #adjust = button({ text: "Adjust this", label: "Accept the one that is looked at and take it in hand", run: () => this.adjust() });
  #all = button({ text: "Refuse all", label: "Refuse all, or keep all; then click those that differ (X)", run: () => this.toggleAll() });
  #busy = false;

  /** @param {any} studio @param {import("./tool.js").Bench} bench */
  constructor(studio, bench) {
    this.studio = studio;
    this.bench = bench;
    this.ask = button({ text: "Find windows and doors", icon: "target", label: "Let the studio look for windows, doors and roof lines (J)", run: () => this.find() });
    this.element = el("div", { class: "found", hidden: true }, this.#words,
      el("div", { class: "row" }, this.#next, this.#refuse, this.#adjust, this.#all, this.#yes));
  }

  get open() {
    return !this.element.hidden;
  }

  async find() {
    if (this.#busy) return;
    this.#busy = true;
    this.ask.disabled = true;
    this.bench.say("Looking for windows, doors and roof lines");
    try {
      const answer = await this.studio.api.get("/api/trace/proposals");
      const drawn = this.bench.store.state.paths;
      this.list = answer.proposals
        .filter((/** @type {Proposal} */ proposal) => !drawn.some((path) => isAlike(path, proposal.path)))
        .map((/** @type {Proposal} */ proposal) => ({ ...proposal, refused: false }));
      this.now = null;
      this.element.hidden = this.list.length === 0;
      this.bench.say(this.list.length ? `Found ${answer.words}` : "Found nothing that is not drawn already");
    } catch (error) {
      this.bench.say(/** @type {Error} */ (error).message, "care");
    } finally {
      this.#busy = false;
      this.ask.disabled = false;
    }
    this.#show();
  }

  /** Look at the next one, close up. */
  next() {
    if (!this.list.length) return;
    const index = this.now ? this.list.indexOf(this.now) : -1;
    this.now = this.list[(index + 1) % this.list.length];
    this.#show();
  }

  /** @param {Proposal} proposal */
  toggle(proposal) {
    proposal.refused = !proposal.refused;
    this.#show();
  }

  /** Refuse all, to click the few that are good; or keep all again. */
  toggleAll() {
    const refused = this.list.some((proposal) => !proposal.refused);
    for (const proposal of this.list) proposal.refused = refused;
    this.#show();
  }

  /** Put all that are not refused into the tracing, as one step. */
  async accept() {
    const put = this.#named(this.list.filter((proposal) => !proposal.refused));
    this.close();
    if (put.length) await this.bench.store.change({ put }, `accept ${put.length} found`);
  }

  /** Accept the one that is looked at and take it in hand. */
  async adjust() {
    if (!this.now) return;
    const [path] = this.#named([this.now]);
    this.list = this.list.filter((proposal) => proposal !== this.now);
    this.now = null;
    this.element.hidden = this.list.length === 0;
    this.#show();
    if (await this.bench.store.change({ put: [path] }, "accept one found")) this.bench.select([path.id]);
  }

  close() {
    this.list = [];
    this.now = null;
    this.element.hidden = true;
    this.#show();
  }

  /** A click on the board while they are shown: refuses the one under it, or takes it back. @param {import("../geometry/vector.js").Point} at */
  click(at) {
    const found = this.#under(at);
    if (found) {
      this.now = found;
      this.toggle(found);
    }
    return Boolean(found);
  }

  /** @param {import("../geometry/vector.js").Point} at */
  hover(at) {
    this.#hovered = this.#under(at);
  }

  /** @param {import("./paint.js").Painter} painter */
  paint(painter) {
    for (const proposal of this.list) {
      const { path, refused } = proposal;
      painter.context.save();
      painter.context.globalAlpha = refused ? 0.3 : 1;
      if (!refused) painter.traced(path, path.kind, { hovered: proposal === this.#hovered, selected: proposal === this.now });
      else painter.traced(path, "other", { faint: true });
      painter.context.restore();
    }
    if (this.now) painter.words(this.now.path.segments[0].start, `${this.now.path.title}${this.now.refused ? ", refused" : ""}`);
  }

  /** @param {import("../geometry/vector.js").Point} at */
  #under(at) {
    const items = this.list.map((proposal, n) => ({ id: String(n), path: proposal.path }));
    const found = pick(at, items, null, this.bench.board.reach(9));
    return found ? this.list[Number(found.id)] : null;
  }

  /** Ids and names that are free. @param {Proposal[]} proposals */
  #named(proposals) {
    const taken = new Set(this.bench.store.paths.map((path) => path.id));
    return proposals.map(({ path }) => {
      let number = 1;
      while (taken.has(`${path.kind}-${number}`)) number++;
      const id = `${path.kind}-${number}`;
      taken.add(id);
      return { ...path, id, title: path.title.replace(/ \d+$/, "") + ` ${number}` };
    });
  }

  #show() {
    const left = this.list.filter((proposal) => !proposal.refused).length;
    this.#words.textContent = this.now
      ? `${this.now.path.title}: ${Math.round(this.now.confidence * 100)} % sure. Click a found line to refuse it.`
      : `Found ${inWords(this.list)}. Click a found line to refuse it.`;
    if (this.open) this.bench.announce(this.now ? `${this.#words.textContent}${this.now.refused ? " Refused." : ""}` : "");
    this.#yes.querySelector("span").textContent = left === 0 ? "Close" : left === this.list.length ? `Accept all ${left}` : `Accept ${left}`;
    this.#all.querySelector("span").textContent = left ? "Refuse all" : "Keep all";
    this.#refuse.disabled = this.#adjust.disabled = !this.now;
    this.#refuse.querySelector("span").textContent = this.now?.refused ? "Keep this" : "Refuse this";
    this.bench.refresh();
  }
}

/** @param {Proposal[]} list */
function inWords(list) {
  const words = /** @type {const} */ ([["window", "window", "windows"], ["door", "door", "doors"], ["garage", "garage door", "garage doors"], ["roof-line", "roof line", "roof lines"]]);
  const parts = words.map(([kind, one, many]) => {
    const count = list.filter(({ path }) => path.kind === kind).length;
    return count ? `${count} ${count === 1 ? one : many}` : "";
  });
  return parts.filter(Boolean).join(", ") || "nothing";
}

/** Whether something of that kind is drawn there already. @param {Traced} drawn @param {Traced} found */
function isAlike(drawn, found) {
  if (drawn.kind !== found.kind) return false;
  const middle = (/** @type {Traced} */ path) => {
    const n = path.segments.length;
    return [path.segments.reduce((sum, s) => sum + s.start[0], 0) / n, path.segments.reduce((sum, s) => sum + s.start[1], 0) / n];
  };
  const [a, b] = [middle(drawn), middle(found)];
  const reach = Math.hypot(found.segments[0].end[0] - found.segments[0].start[0], found.segments[0].end[1] - found.segments[0].start[1]);
  return Math.hypot(a[0] - b[0], a[1] - b[1]) < 0.3 * reach;
}
