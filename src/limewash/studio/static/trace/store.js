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

  /** @param {any} studio @param {State} state */
  constructor(studio, state) {
    this.studio = studio;
    this.state = state;
    studio.live.on("tracing", (/** @type {any} */ message) => this.take(message.state));
    studio.live.on("drag", (/** @type {any} */ message) => message.by !== studio.live.client && this.#dragElsewhere(message.path));
    studio.live.on("drag-end", (/** @type {any} */ message) => this.#dragEndsElsewhere(message.id));
    studio.steps.set({ onUndo: () => this.travel("undo"), onRedo: () => this.travel("redo") });
    this.#showSteps();
  }

  /** As people see them: with what is being dragged. @returns {Traced[]} */
  get paths() {
    const known = this.state.paths.map((path) => this.dragged.get(path.id) ?? path);
    const ids = new Set(this.state.paths.map((path) => path.id));
    return [...known, ...[...this.dragged.values()].filter((path) => !ids.has(path.id))];
  }

  /** @param {string | null} id @returns {Traced | undefined} */
  get(id) {
    return this.paths.find((path) => path.id === id);
  }

  /** @param {() => void} watcher */
  watch(watcher) {
    this.#watchers.add(watcher);
  }

  /** Take a state from the server, unless a newer one is here already. @param {State} state */
  take(state) {
    if (state.revision < this.state.revision) return;
    this.state = state;
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
    const answer = await this.#ask(() => this.studio.api.post("/api/tracing/paths", { revision: this.state.revision, path, what }));
    this.#answered(path);
    if (answer) this.take(answer.tracing);
    this.tell();
    return answer ? answer.id : null;
  }

  /** Put in and take out, as one step. @param {{put?: Traced[], remove?: string[]}} change @param {string} what */
  async change(change, what) {
    const put = change.put ?? [];
    for (const path of put) this.#show(path);
    this.tell();
    const answer = await this.#ask(() => this.studio.api.post("/api/tracing/change",
      { revision: this.state.revision, put, remove: change.remove ?? [], what }));
    for (const path of put) this.#answered(path);
    if (answer) this.take(answer);
    this.tell();
    return Boolean(answer);
  }

  /** Show a path where the hand has it now: here at once, on the projector within a frame or two. @param {Traced} path */
  drag(path) {
    this.dragged.set(path.id, path);
    this.tell();
    if (this.#wanted) return;
    this.#wanted = true;
    requestAnimationFrame(() => {
      this.#wanted = false;
      const now = this.dragged.get(path.id);
      if (now) this.studio.live.send({ type: "drag", path: now });
    });
  }

  /** Let go without change. @param {string} id */
  async dropDrag(id) {
    this.dragged.delete(id);
    this.tell();
    await this.#ask(() => this.studio.api.del("/api/tracing/drag"));
  }

  /** @param {"undo" | "redo"} way */
  async travel(way) {
    this.dragged.clear();
    const answer = await this.#ask(() => this.studio.api.post(`/api/tracing/${way}`, { revision: this.state.revision }));
    if (answer) this.take(answer);
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
    if (this.#waits(path.id)) return;
    this.dragged.set(path.id, path);
    this.tell();
  }

  /** @param {string} id */
  #dragEndsElsewhere(id) {
    if (this.#waits(id)) return;
    this.dragged.delete(id);
    this.tell();
  }

  #showSteps() {
    this.studio.steps.set({ undo: this.state.can_undo, redo: this.state.can_redo });
  }

  /** @param {() => Promise<any>} request @returns {Promise<any>} null when it was refused */
  #ask(request) {
    const asked = this.#queue.then(request).catch((error) => {
      if (error?.body?.tracing) this.take(error.body.tracing);
      this.studio.say(error.message ?? String(error), "care");
      return null;
    });
    this.#queue = asked;
    return asked;
  }
}
