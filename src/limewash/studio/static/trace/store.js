// @ts-check
/**
 * The tracing as the page knows it: what the server has, what is being changed, and the way between them.
 *
 * @typedef {import("../geometry/path.js").Segment} Segment
 * @typedef {"window" | "door" | "garage" | "roof-line" | "wall" | "post" | "trim" | "step" | "keep-dark" | "other"} Kind
 * @typedef {{id: string, kind: Kind, title: string, surface: string | null, group: string, locked: boolean, closed: boolean, segments: Segment[]}} Traced
 * @typedef {{revision: number, size: [number, number], paths: Traced[], can_undo: string | null, can_redo: string | null}} State
 */

/** Kinds in the order of their keys, 1 to 9 and 0, with the words for people. @type {[Kind, string][]} */
export const KINDS = [
  ["window", "Window"], ["door", "Door"], ["garage", "Garage door"], ["roof-line", "Roof line"], ["wall", "Wall"],
  ["post", "Post"], ["trim", "Trim"], ["step", "Step"], ["keep-dark", "Keep dark"], ["other", "Other"],
];

/** @param {Kind} kind */
export const kindWord = (kind) => KINDS.find(([name]) => name === kind)?.[1] ?? kind;

/** As text that is alike for the same data in whatever order. @param {unknown} data */
const plain = (data) => JSON.stringify(data, (_, value) => (value && typeof value === "object" && !Array.isArray(value)
  ? Object.fromEntries(Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1))) : value));

/**
 * After a request was lost: the paths that it is about, and what stands for its answer where a state shows that it arrived.
 * @typedef {{ids: string[], arrived: (state: State) => any}} Again
 */

export class Store {
  /** @type {State} */
  state;
  /** Paths as they are being dragged here. @type {Map<string, Traced>} */
  dragged = new Map();
  /** @type {Set<() => void>} */
  #watchers = new Set();
  /** Requests go one after the other, so that each knows the newest revision. @type {Promise<unknown>} */
  #queue = Promise.resolve();
  /** Paths put in here that the server has not answered for. @type {Set<Traced>} */
  #sent = new Set();
  #wanted = false;
  /** Whoever drags lets go: what it began from will not be there any more. */
  letGo = () => {};
  /** For each path that is dragged here, the newest revision that was seen when the hand took hold of it. @type {Map<string, number>} */
  #held = new Map();

  /** @param {any} studio @param {State} state */
  constructor(studio, state) {
    this.studio = studio;
    this.state = state;
    studio.live.on("tracing", (/** @type {any} */ message) => this.take(message.state));
    studio.live.on("drag", (/** @type {any} */ message) => message.by !== studio.live.client && this.#dragElsewhere(message.path));
    studio.live.on("drag-end", (/** @type {any} */ message) => this.#dragEndsElsewhere(message.id));
    studio.live.on("again", async () => this.take(await studio.api.get("/api/tracing")));
    studio.steps.set({ onUndo: () => this.travel("undo"), onRedo: () => this.travel("redo") });
    this.#showSteps();
  }

  /** As people see them: with what is being dragged. @returns {Traced[]} */
  get paths() {
    const known = this.state.paths.map((path) => this.dragged.get(path.id) ?? path);
    const ids = new Set(this.state.paths.map((path) => path.id));
    return [...known, ...[...this.dragged.values()].filter((path) => !ids.has(path.id))];
  }

  /** As they would be changed from here: what another window drags is still where it was. @returns {Traced[]} */
  get own() {
    const there = new Map(this.state.paths.map((path) => [path.id, path]));
    return this.paths.map((path) => (this.#held.has(path.id) || this.#waits(path.id) ? path : there.get(path.id) ?? path));
  }

  /** @param {string | null} id @returns {Traced | undefined} as it would be changed from here */
  get(id) {
    return this.own.find((path) => path.id === id);
  }

  /** @param {() => void} watcher */
  watch(watcher) {
    this.#watchers.add(watcher);
  }

  /** Take a state from the server, unless a newer one is here already. @param {State} state */
  take(state) {
    if (state.revision < this.state.revision) return;
    this.state = state;
    // What another window dragged is a change by now, or comes again with its next movement.
    for (const id of this.dragged.keys()) if (!this.#held.has(id) && !this.#waits(id)) this.dragged.delete(id);
    this.#showSteps();
    this.tell();
  }

  tell() {
    for (const watcher of this.#watchers) watcher();
  }

  /** Put in a new path. Gives its id, or null when it was refused. @param {Traced} path @param {string} [what] @returns {Promise<string | null>} */
  async add(path, what = "") {
    this.#show(path); // seen at once, under the id that it will have unless that is taken
    this.tell();
    const there = (/** @type {State} */ state) => state.paths.some((one) => one.id === path.id && plain(one.segments) === plain(path.segments));
    const answer = await this.#ask(() => this.studio.api.post("/api/tracing/paths", { revision: this.state.revision, path, what }),
      { ids: [], arrived: (state) => (there(state) ? { id: path.id, tracing: state } : null) });
    this.#answered(path);
    if (answer && this.#held.has(answer.id)) this.#held.set(answer.id, answer.tracing.revision);
    if (answer) this.take(answer.tracing);
    this.tell();
    return answer ? answer.id : null;
  }

  /**
   * Put in and take out, as one step. What was dragged, or was reckoned from an earlier state, is refused when somebody has
   * changed it since then.
   * @param {{put?: Traced[], remove?: string[]}} change @param {string} what
   * @param {number} [seen] revision from which it was reckoned; what was dragged: when the hand took hold of it
   */
  async change(change, what, seen) {
    const { put = [], remove = [] } = change;
    const since = Math.min(seen ?? Infinity, ...put.map((path) => this.#held.get(path.id) ?? Infinity));
    for (const path of put) {
      this.#held.delete(path.id);
      this.#show(path);
    }
    this.tell();
    const answer = await this.#ask(() => this.studio.api.post("/api/tracing/change",
      { revision: Math.min(since, this.state.revision), put, remove, what }), { ids: [...put.map((path) => path.id), ...remove], arrived: (state) => {
      const now = new Map(state.paths.map((path) => [path.id, plain(path)]));
      return put.every((path) => now.get(path.id) === plain(path)) && !remove.some((id) => now.has(id)) ? state : null;
    } });
    for (const path of put) {
      this.#answered(path);
      // Taken hold of before this change of our own was answered: it does not stand against itself.
      if (answer && this.#held.has(path.id)) this.#held.set(path.id, answer.revision);
    }
    if (answer) this.take(answer);
    this.tell();
    return Boolean(answer);
  }

  /** Show a path where the hand has it now: here at once, on the projector within a frame or two. @param {Traced} path */
  drag(path) {
    if (!this.#held.has(path.id)) this.#held.set(path.id, this.state.revision);
    this.dragged.set(path.id, path);
    this.tell();
    if (this.#wanted) return;
    this.#wanted = true;
    requestAnimationFrame(() => {
      this.#wanted = false;
      for (const [id, revision] of this.#held) this.studio.live.send({ type: "drag", path: this.dragged.get(id), revision });
    });
  }

  /** Let go without change: on the same way as the drags, so that none comes after it. @param {string} id */
  dropDrag(id) {
    this.#held.delete(id);
    this.dragged.delete(id);
    this.tell();
    this.studio.live.send({ type: "drag-end", id });
  }

  /** @param {"undo" | "redo"} way */
  async travel(way) {
    this.letGo();
    this.#held.clear();
    this.dragged.clear();
    const seen = this.state.revision;
    const answer = await this.#ask(() => this.studio.api.post(`/api/tracing/${way}`, { revision: this.state.revision }),
      { ids: [], arrived: (state) => (state.revision === seen ? null : state) });
    if (answer) this.take(answer);
  }

  /** Until everything that was changed here is answered: what is reckoned from then on has seen it. */
  async idle() {
    await this.#queue;
  }

  /** A free id for a new path of a kind; the server gives another if it is taken meanwhile. @param {Kind} kind */
  freeId(kind) {
    const taken = new Set(this.paths.map((path) => path.id));
    let number = 1;
    while (taken.has(`${kind}-${number}`)) number++;
    return `${kind}-${number}`;
  }

  /** @param {string} id */
  isLocked(id) {
    return this.get(id)?.locked ?? false;
  }

  /** Show a path as it has been sent, until the server answers. @param {Traced} path */
  #show(path) {
    this.#sent.add(path);
    this.dragged.set(path.id, path);
  }

  /** A later change of the same path may be under way: it must not be lost. @param {Traced} path */
  #answered(path) {
    this.#sent.delete(path);
    if (this.dragged.get(path.id) === path) this.dragged.delete(path.id);
  }

  /** Whether a path on the screen is a change from here that still waits for its answer. @param {string} id */
  #waits(id) {
    const shown = this.dragged.get(id);
    return shown !== undefined && this.#sent.has(shown);
  }

  /** @param {Traced} path */
  #dragElsewhere(path) {
    if (this.#held.has(path.id) || this.#waits(path.id)) return;
    this.dragged.set(path.id, path);
    this.tell();
  }

  /** @param {string} id */
  #dragEndsElsewhere(id) {
    if (this.#held.has(id) || this.#waits(id)) return;
    this.dragged.delete(id);
    this.tell();
  }

  #showSteps() {
    this.studio.steps.set({ undo: this.state.can_undo, redo: this.state.can_redo });
  }

  /**
   * Once more when the studio was away: what was drawn meanwhile stays and is sent then, unless it had arrived and only the
   * answer was lost, or somebody changed the same.
   * @param {() => Promise<any>} request @param {Again} again
   */
  async #tried(request, again) {
    const before = this.state;
    try {
      return await request();
    } catch (error) {
      if (/** @type {any} */ (error).status !== 0) throw error;
      this.studio.say("The studio does not answer; what is drawn is sent as soon as it does.", "care", true);
    }
    /** @type {State | null} */
    let state = null;
    while (!state) {
      await new Promise((done) => setTimeout(done, 1000));
      state = await this.studio.api.get("/api/tracing").catch(() => null);
    }
    this.studio.say("");
    this.take(state);
    const arrived = again.arrived(state);
    if (arrived) return arrived;
    const version = (/** @type {State} */ of, /** @type {string} */ id) => plain(of.paths.find((path) => path.id === id) ?? null);
    const now = state;
    if (again.ids.some((id) => version(before, id) !== version(now, id))) throw new Error("That was changed in another window meanwhile: what you did here is not kept.");
    return request();
  }

  /** @param {() => Promise<any>} request @param {Again} again @returns {Promise<any>} null when it was refused */
  #ask(request, again) {
    const asked = this.#queue.then(() => this.#tried(request, again)).catch((error) => {
      if (error?.body?.tracing) this.take(error.body.tracing);
      this.studio.say(error.message ?? String(error), "care");
      return null;
    });
    this.#queue = asked;
    return asked;
  }
}
