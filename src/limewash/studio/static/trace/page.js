// @ts-check
/** The Trace page: the board with its tools at the left, what is drawn and the map at the right. */
import { button, el } from "../dom.js";
import { Desk } from "./desk.js";

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = "Trace - Limewash";
  root.classList.add("still");
  await styled();
  if (!studio.project) return lonely(root, "No project is open.", button({ text: "To the start page", kind: "main", href: "/" }));
  let photos;
  try {
    photos = await studio.api.get("/api/photo/info");
  } catch (error) {
    return lonely(root, /** @type {Error} */ (error).message,
      el("div", { class: "row" }, button({ text: "To the scan", kind: "main", href: "/scan" }),
        button({ text: "Draw by eye, without a camera", run: () => beginByEye(studio) })));
  }
  const [state, wall] = await Promise.all([studio.api.get("/api/tracing"), studio.api.get("/api/trace/wall")]);
  const desk = new Desk(studio, photos, state, wall);
  root.append(desk.element);
  await desk.begin();
}

/** Without its style nothing has a size yet. @returns {Promise<void>} */
function styled() {
  return new Promise((done) => {
    const link = el("link", { rel: "stylesheet", href: "/static/trace/page.css", on: { load: () => done(), error: () => done() } });
    document.head.append(link);
  });
}

/** @param {HTMLElement} root @param {string} text @param {Node} next */
function lonely(root, text, next) {
  root.append(el("section", { class: "sheet lonely" }, el("h1", {}, "Trace"), el("p", {}, text), next));
}

/** @param {any} studio */
async function beginByEye(studio) {
  try {
    await studio.api.post("/api/scan/by-eye");
    location.reload();
  } catch (error) {
    studio.say(/** @type {Error} */ (error).message, "care");
  }
}
