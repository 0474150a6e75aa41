// @ts-check
/** The phone: a track pad for the cross-hair on the house, a nudger for corners and check points. */

import { el } from "../dom.js";
import { Live } from "../live.js";
import { track } from "./pad.js";

/** Sizes of a nudge: the large one goes across the house without sliding. [px] */
const STEPS = [1, 0.25, 10];

const live = new Live("/live");
const root = document.getElementById("pad-page");
const said = el("div", { class: "said", role: "status" });
const what = el("strong", {}, "connecting");
const step = el("button", { type: "button", on: { click: () => { size = STEPS[(STEPS.indexOf(size) + 1) % STEPS.length]; draw(); } } });
const black = el("button", { type: "button", class: "black", on: { click: () => { projector = { ...projector, blanked: !projector?.blanked }; live.send({ type: "blank", blanked: projector.blanked }); draw(); } } });
const hold = key("Hold corner", () => act({ do: hand?.holding ? "let-go" : "hold" }));
/** @type {any} */
let projector = null;
/** @type {any} */
let hand = null;
/** @type {any} */
let settle = null;
let size = STEPS[0];

/** @param {object} one */
const act = (one) => live.send({ type: "hand", act: one });
/** Whether the projector shows check points: then the pad moves the chosen one. */
const settling = () => projector?.what === "settle";

/** @param {string} text @param {() => void} run @param {string} [kind] @param {string} [label] */
function key(text, run, kind = "", label) {
  return el("button", { type: "button", class: kind, "aria-label": label ?? null, on: { click: () => { navigator.vibrate?.(8); run(); } } }, text);
}

/** @param {number} dx @param {number} dy */
function nudge(dx, dy) {
  if (settling()) live.send({ type: "settle", nudge: { dx: dx * size, dy: dy * size } });
  else act({ do: "nudge", dx: dx * size, dy: dy * size });
}

const pad = el("div", { class: "track", role: "group", "aria-label": "Track pad; the buttons below do the same" }, el("div", { class: "slow", "aria-hidden": "true" }, "slow"), el("p", {}, ""));
track(pad, {
  move: (dx, dy, slow, slide) => {
    if (settling()) live.send({ type: "settle", nudge: { dx: dx * (slow ? 0.05 : 0.25), dy: dy * (slow ? 0.05 : 0.25), hold: slide } });
    else act({ do: "move", dx, dy, slow });
  },
  tap: () => { if (!settling()) act({ do: "put" }); },
});

const drawKeys = [
  key("Point", () => act({ do: "put" }), "main"), key("Arc", () => act({ do: "put", bend: true })), key("Close", () => act({ do: "finish", closed: true })),
  key("Open", () => act({ do: "finish", closed: false })), hold, key("Next", () => act({ do: "next" })), key("Back", () => act({ do: "back" })), key("Undo", () => live.send({ type: "undo" })),
];
const settleKeys = [key("Previous", () => choose(-1)), key("Next", () => choose(1), "main")];

/** @param {number} by */
function choose(by) {
  const names = (settle?.points ?? []).map((/** @type {any} */ one) => one.name);
  if (names.length) live.send({ type: "choose", name: names[(names.indexOf(settle.chosen) + by + names.length) % names.length] });
}

const keys = el("div", { class: "keys" });
root?.append(
  el("div", { class: "top" }, what), pad, keys,
  el("div", { class: "nudge" }, key("←", () => nudge(-1, 0), "", "Left"), key("→", () => nudge(1, 0), "", "Right"), key("↑", () => nudge(0, -1), "", "Up"), key("↓", () => nudge(0, 1), "", "Down"), step),
  el("div", {}, black, said));
black.style.width = "100%";

function draw() {
  step.textContent = size < 1 ? "¼ px" : `${size} px`;
  step.setAttribute("aria-label", `Size of a nudge: ${step.textContent}`);
  black.textContent = projector?.blanked ? "Light again" : "Black";
  black.setAttribute("aria-pressed", String(Boolean(projector?.blanked)));
  const mode = settling() ? "settle" : "draw";
  if (keys.dataset.mode !== mode) {
    keys.dataset.mode = mode;
    keys.replaceChildren(...(mode === "settle" ? settleKeys : drawKeys));
    keys.style.gridTemplateColumns = `repeat(${mode === "settle" ? 2 : 4}, 1fr)`;
  }
  hold.textContent = hand?.holding ? "Let go" : "Hold corner";
  const shown = !projector ? "" : projector.blanked ? "black" : projector.words;
  what.textContent = mode === "settle" ? `Check point: ${settle?.chosen || "none"}` : hand?.holding ? `Holding ${hand.holding}` : `On the house: ${shown}`;
  const words = pad.querySelector("p");
  if (words) words.textContent = mode === "settle" ? "slide to move the check point" : `slide to move, tap to put a point${hand ? `  ·  ${hand.points.length} points` : ""}`;
}

let timer = 0;
/** @param {string} text */
function say(text) {
  said.textContent = text;
  clearTimeout(timer);
  timer = setTimeout(() => { said.textContent = ""; }, 4000);
}

live.on("open", (message) => {
  ({ projector, hand, settle } = message);
  say("");
  draw();
});
live.on("closed", () => {
  what.textContent = "the studio does not answer";
});
live.on("projector", (message) => { projector = message.state; draw(); });
live.on("hand", (message) => { hand = message.hand; draw(); });
live.on("settle", (message) => { settle = message.settle; draw(); });
live.on("refused", (message) => say(message.message));
document.addEventListener("contextmenu", (event) => event.preventDefault());
draw();
