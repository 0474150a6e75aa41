// @ts-check
/**
 * The page for the second display. One canvas at the projector's native size, one canvas pixel to one display pixel;
 * black whenever nothing is asked, the link is lost or something fails.
 */

import { Live } from "../live.js";
import { drawHand, drawLines, drawSettle } from "./draw.js";

const LOST_MS = 3000;

const plate = /** @type {HTMLCanvasElement} */ (document.getElementById("plate"));
const film = /** @type {HTMLVideoElement} */ (document.getElementById("film"));
const context = /** @type {CanvasRenderingContext2D} */ (plate.getContext("2d", { alpha: false }));
const live = new Live("/live?page=projector");

/** @type {any} */
let state = null;
/** @type {any[]} Paths in projector pixels. */
let paths = [];
/** @type {Map<string, any>} Paths as they are being dragged. */
const dragged = new Map();
/** @type {any} */
let hand = null;
/** @type {any} */
let settle = null;
/** @type {HTMLImageElement | null} */
let still = null;
let stillAddress = "";
let stillsAsked = 0;
let lost = false;
/** Black or not, as pressed here, until the studio has answered. @type {boolean | null} */
let wish = null;
let presses = 0;
/** The projector's state as the studio told it last. @type {any} */
let told = null;
/** @type {Promise<unknown>} */
let telling = Promise.resolve();
let wanted = false;

live.on("open", (message) => {
  lost = false;
  hand = message.hand ?? null;
  settle = message.settle ?? null;
  take(message.projector);
  if (wish !== null) tellBlank(wish); // pressed while the studio was away
  report();
});
live.on("closed", () => setTimeout(() => {
  if (!live.open) {
    lost = true;
    redraw();
  }
}, LOST_MS));
live.on("projector", (message) => take(message.state));
live.on("tracing", async () => {
  refreshPaths();
  if (state?.what !== "settle") return;
  const answer = await fetch("/api/settle");
  if (answer.ok) settle = await answer.json();
  redraw();
});
live.on("map", refreshPaths);
live.on("scan", refreshPaths);
live.on("drag", (message) => {
  dragged.set(message.carried.id, message.carried);
  redraw();
});
live.on("drag-end", (message) => {
  dragged.delete(message.id);
  redraw();
});
live.on("hand", (message) => {
  hand = message.hand;
  redraw();
});
live.on("settle", (message) => {
  settle = message.settle;
  redraw();
});

/** @param {any} next */
function take(next) {
  const before = state;
  told = next;
  state = next && wish !== null ? { ...next, blanked: wish } : next;
  if (!state) return;
  fit();
  if (state.what === "tracing" && before?.what !== "tracing") refreshPaths();
  showStill();
  playFilm(before?.turn !== state.turn);
  redraw();
}

/** One canvas pixel to one display pixel, whatever the browser's zoom is. */
function fit() {
  const [width, height] = state?.native ?? [1920, 1080];
  if (plate.width !== width || plate.height !== height) Object.assign(plate, { width, height });
  const ratio = devicePixelRatio;
  for (const element of [plate, film]) {
    element.style.width = `${width / ratio}px`;
    element.style.height = `${height / ratio}px`;
  }
}

let reading = false;
let readAgain = false;

async function refreshPaths() {
  if (reading) {
    readAgain = true;
    return;
  }
  reading = true;
  do {
    readAgain = false;
    try {
      const answer = await fetch("/api/map/preview");
      paths = answer.ok ? (await answer.json()).paths : [];
    } catch {
      paths = [];
    }
    dragged.clear();
    redraw();
  } while (readAgain);
  reading = false;
}

/** @returns {string} address of the still that is wanted, or "" */
function addressOfStill() {
  if (["white", "focus", "grid", "marks"].includes(state.what)) return `/api/projector/chart/${state.what}?size=${state.native}`;
  if (state.what === "pattern") return `/api/projector/pattern/${state.index}?size=${state.native}`;
  if (state.what === "map") return "/api/projector/map";
  return "";
}

async function showStill() {
  const address = addressOfStill();
  if (address === stillAddress && address !== "/api/projector/map") return;
  const mine = ++stillsAsked;
  if (address !== stillAddress) still = null; // the same one read again stays until the new one is there: no flash
  stillAddress = address;
  if (!address) return;
  const image = new Image();
  image.src = address;
  try {
    await image.decode();
  } catch {
    return; // black stays
  }
  if (mine !== stillsAsked) return;
  still = image;
  redraw();
}

/** @param {boolean} [asked] whether it was asked for anew: one that has ended begins again only then */
function playFilm(asked = false) {
  const address = state.what === "show" ? `/api/shows/${encodeURIComponent(state.name)}/film`
    : state.what === "pattern-film" ? "/api/scan/pattern/film" : "";
  if ((film.getAttribute("src") ?? "") !== address) {
    film.hidden = true;
    if (address) film.setAttribute("src", address);
    else film.removeAttribute("src");
    film.muted = false;
    film.load();
    film.loop = false;
  }
  if (address && !state.blanked && (asked || !film.ended)) {
    film.play().catch((error) => {
      if (error.name !== "NotAllowedError" || state.blanked) return; // only what the browser does not allow goes without sound
      film.muted = true;
      film.play().catch(() => {});
    });
  }
  if (state.blanked) film.pause();
}
film.addEventListener("playing", () => { film.hidden = state.blanked; live.send({ type: "film", what: "playing" }); });
film.addEventListener("error", () => {
  film.hidden = true;
  if (film.getAttribute("src")) live.send({ type: "film", what: "failed" });
});
film.addEventListener("ended", () => { film.hidden = true; live.send({ type: "film", what: "ended" }); });

function redraw() {
  if (wanted) return;
  wanted = true;
  requestAnimationFrame(() => {
    wanted = false;
    try {
      draw();
    } catch (error) {
      black();
      throw error;
    }
  });
}

function black() {
  context.fillStyle = "#000";
  context.fillRect(0, 0, plate.width, plate.height);
}

function draw() {
  black();
  const isFilm = state?.what === "show" || state?.what === "pattern-film";
  film.hidden = !isFilm || state.blanked || film.readyState < 2 || film.ended;
  if (!state || state.blanked || lost) return;
  if (still) {
    context.imageSmoothingEnabled = false;
    context.drawImage(still, 0, 0);
  }
  if (state.what === "tracing") {
    const shown = paths.map((path) => dragged.get(path.id) ?? path);
    const known = new Set(paths.map((path) => path.id));
    for (const [id, path] of dragged) if (!known.has(id)) shown.push(path);
    drawLines(context, shown, state.look);
    if (hand) drawHand(context, hand, state.look);
  }
  if (state.what === "settle" && settle) drawSettle(context, settle, state.look);
}

function report() {
  live.send({ type: "page", report: {
    screen: [screen.width, screen.height], window: [innerWidth, innerHeight], ratio: devicePixelRatio,
    full_screen: Boolean(document.fullscreenElement), awake: Boolean(awake),
  } });
}
addEventListener("resize", () => { fit(); redraw(); report(); });
document.addEventListener("fullscreenchange", report);
document.addEventListener("visibilitychange", () => { if (!document.hidden) { stayAwake(); report(); } });

/** @type {any} */
let awake = null;

async function stayAwake() {
  try {
    awake = await navigator.wakeLock?.request("screen");
    awake?.addEventListener("release", () => { awake = null; report(); });
  } catch {
    awake = null; // the desk page says that the display may fall asleep
  }
  report();
}
stayAwake();

addEventListener("keydown", (event) => {
  const key = event.key.toLowerCase();
  if (!["f", "b", " ", "."].includes(key)) return;
  event.preventDefault();
  if (event.repeat) return; // a key that is held must not make the house flash
  if (key === "f") toggleFullScreen();
  else blank();
});
addEventListener("dblclick", toggleFullScreen);

function toggleFullScreen() {
  if (document.fullscreenElement) document.exitFullscreen().catch(() => {});
  else document.documentElement.requestFullscreen({ navigationUI: "hide" }).catch(() => {});
}

/** Black before the server has heard of it. */
function blank() {
  if (!state) return;
  const blanked = !state.blanked;
  wish = blanked;
  state = { ...state, blanked };
  playFilm();
  redraw();
  tellBlank(blanked);
}

/** One after the other; what is told meanwhile does not light the house again. @param {boolean} blanked */
function tellBlank(blanked) {
  const mine = ++presses;
  telling = telling.then(async () => {
    const answer = await fetch("/api/projector/blank", {
      method: "PUT", headers: { "content-type": "application/json" }, body: JSON.stringify({ blanked }),
    });
    if (!answer.ok) return;
    const after = await answer.json();
    if (mine !== presses) return;
    wish = null;
    take(told && told.turn > after.turn ? told : after); // something else may have been asked for since
  }).catch(() => {}); // told again as soon as the studio is back
}

fit();
black();
// A reload while the studio is away must not put an error page on the house.
navigator.serviceWorker?.register("/projector-worker.js", { scope: "/projector" }).catch(() => {});
