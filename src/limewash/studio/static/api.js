// @ts-check
/** Talks to the server. What it refuses comes as a `Refused` with the field and the words for the person. */

export class Refused extends Error {
  /** @param {number} status @param {{where?: string, message?: string, next?: {text: string, href: string}}} body `next`: what helps */
  constructor(status, body) {
    super(body.message ?? `the studio answered ${status}`);
    this.status = status;
    this.where = body.where ?? "";
    this.next = body.next ?? { text: "To the start page", href: "/" };
    /** @type {any} The whole answer: a 409 of the tracing carries its present state as `tracing`. */
    this.body = body;
  }
}

/** Requests of so many together may outlive their page. [bytes] */
const OUTLIVING_BYTES = 60_000;
let outliving = 0;

/**
 * One request; gives the JSON of the answer, or null when it has none.
 * @param {string} method @param {string} path @param {unknown} [body]
 * @returns {Promise<any>}
 */
export async function send(method, path, body) {
  /** @type {RequestInit} */
  const request = { method, headers: { accept: "application/json" } };
  let size = 0;
  if (body instanceof Blob || body instanceof ArrayBuffer) {
    request.body = body;
  } else if (body !== undefined) {
    const text = JSON.stringify(body);
    request.body = text;
    // What was just changed arrives even if the page is left or loaded anew in the same moment. Browsers take no more than
    // 64 KiB of such requests at a time.
    size = new Blob([text]).size;
    request.keepalive = outliving + size < OUTLIVING_BYTES;
    request.headers = { ...request.headers, "content-type": "application/json" };
  }
  if (!request.keepalive) size = 0;
  outliving += size;
  let answer;
  try {
    answer = await fetch(path, request);
  } catch {
    throw new Refused(0, { message: "the studio does not answer; is its window still open?" });
  } finally {
    outliving -= size;
  }
  const text = await answer.text();
  const data = text && answer.headers.get("content-type")?.includes("json") ? JSON.parse(text) : null;
  if (!answer.ok) throw new Refused(answer.status, data ?? {});
  return data;
}

/** @param {string} path @returns {Promise<any>} */
export const get = (path) => send("GET", path);
/** @param {string} path @param {unknown} [body] @returns {Promise<any>} */
export const post = (path, body) => send("POST", path, body ?? {});
/** @param {string} path @param {unknown} [body] @returns {Promise<any>} */
export const put = (path, body) => send("PUT", path, body ?? {});
/** @param {string} path @returns {Promise<any>} */
export const del = (path) => send("DELETE", path);

/**
 * Send a file, with its progress (which `fetch` does not tell).
 * @param {string} path @param {Blob} file @param {(share: number) => void} progress @param {AbortSignal} [signal]
 * @returns {Promise<any>}
 */
export function upload(path, file, progress, signal) {
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    request.open("PUT", path);
    request.upload.onprogress = (event) => progress(event.total ? event.loaded / event.total : 0);
    request.onload = () => {
      const data = request.responseText ? JSON.parse(request.responseText) : null;
      if (request.status < 300) done(data);
      else failed(new Refused(request.status, data ?? {}));
    };
    request.onerror = () => failed(new Refused(0, { message: "the file could not be sent; is the studio still running?" }));
    request.onabort = () => failed(new Refused(0, { message: "stopped" }));
    signal?.addEventListener("abort", () => request.abort());
    request.send(file);
  });
}
