// @ts-check
/** The live channel: the server tells of every change; comes back by itself when the server was away. */

export class Live {
  /** @type {Map<string, Set<(message: any) => void>>} */
  #listeners = new Map();
  /** @type {WebSocket | null} */
  #socket = null;
  #wait_ms = 200;
  /** Name of this page on the channel; goes into a drag, so that others know who drags. */
  client = "";
  /** Whether the channel is open. */
  open = false;
  #wasOpen = false;
  /** What was told while nobody could hear it yet; null when it is told at once. @type {any[] | null} */
  #held = null;

  /** @param {string} [path] */
  constructor(path = "/live") {
    this.path = path;
    this.#connect();
    addEventListener("pagehide", () => this.#socket?.close());
  }

  /**
   * Hear messages of one type, or all with "*"; "open" and "closed" tell of the channel itself, "again" that it is open
   * once more after it was closed: what was told meanwhile has been missed.
   * @param {string} type @param {(message: any) => void} listener
   */
  on(type, listener) {
    if (!this.#listeners.has(type)) this.#listeners.set(type, new Set());
    this.#listeners.get(type)?.add(listener);
    return () => this.#listeners.get(type)?.delete(listener);
  }

  /**
   * Keep what comes from now on until `release`: a page that is only being made misses no change between what it asked
   * for and the moment it listens. Gives a promise that the channel is open, or that it was waited for long enough.
   * @param {number} [patience_ms] @returns {Promise<void>}
   */
  hold(patience_ms = 1500) {
    this.#held = [];
    return new Promise((done) => {
      if (this.open) return done();
      const stop = this.on("open", () => { stop(); done(); });
      setTimeout(done, patience_ms);
    });
  }

  /** Tell what was kept, and everything else at once from here on. */
  release() {
    const held = this.#held ?? [];
    this.#held = null;
    for (const message of held) this.#hear(message);
  }

  /** Say something to the server; lost when the channel is closed. @param {object} message */
  send(message) {
    if (this.#socket?.readyState === WebSocket.OPEN) this.#socket.send(JSON.stringify(message));
  }

  #connect() {
    const socket = new WebSocket(`ws://${location.host}${this.path}`);
    this.#socket = socket;
    socket.onmessage = (event) => this.#hear(JSON.parse(event.data));
    socket.onclose = () => {
      if (this.open) this.#tell("closed", {});
      this.open = false;
      setTimeout(() => this.#connect(), this.#wait_ms);
      this.#wait_ms = Math.min(this.#wait_ms * 1.6, 3000);
    };
  }

  /** @param {any} message */
  #hear(message) {
    if (message.type === "hello") {
      this.client = message.client;
      this.open = true;
      this.#wait_ms = 200;
      this.#tell("open", message);
      if (this.#wasOpen) this.#tell("again", message);
      this.#wasOpen = true;
    } else if (this.#held) {
      this.#held.push(message);
      return;
    }
    this.#tell(message.type, message);
    this.#tell("*", message);
  }

  /** @param {string} type @param {any} message */
  #tell(type, message) {
    for (const listener of this.#listeners.get(type) ?? []) listener(message);
  }
}
