// @ts-check
/** Where the project stands and what comes next; without a project: open, make, or try. */

import { button, el, icon } from "../dom.js";
import { jobPlace, startJob } from "../jobs.js";
import { chooseFolder, newProject } from "./open.js";

const QUESTIONS = {
  site: ["Site", "Which projector, where, and will it be bright enough?"],
  scan: ["Scan", "Where does each projector pixel land?"],
  trace: ["Trace", "Where are the windows, the door, the roof line?"],
  show: ["Show", "What plays?"],
  night: ["Night", "Does it run, and does it still line up?"],
};

/** @param {HTMLElement} root @param {any} studio */
export async function mount(root, studio) {
  document.title = studio.project ? `${studio.project.name} - Limewash` : "Limewash";
  const places = await studio.api.get("/api/projects");
  root.append(studio.project ? await opened(studio, places) : welcome(studio, places));
}

/** @param {any} studio @param {any} places */
async function opened(studio, places) {
  const { stages, name, folder } = studio.project;
  const next = Object.entries(stages).find(([, stage]) => stage.state === "next")?.[0] ?? "night";
  const page = el("div", { class: "page home" },
    el("div", { class: "home-top" },
      el("div", { class: "stack wide" },
        el("div", {}, el("h1", {}, name), el("p", { class: "soft small mono" }, folder)),
        el("div", { class: "next-step" },
          el("h3", {}, "Next"),
          el("p", { class: "next-words" }, sentence(stages[next].todo)),
          button({ text: `Go to ${QUESTIONS[/** @type {"site"} */ (next)][0]}`, kind: "main big", href: `/${next}` }))),
      plate(studio)),
    el("ol", { class: "ladder" }, ...Object.entries(QUESTIONS).map(([stage, [title, question]]) => rung(stage, title, question, stages[stage]))),
    el("div", { class: "row" },
      button({ icon: "folder", text: "Open another project", run: () => chooseFolder(studio, places) }),
      button({ icon: "plus", text: "New project", run: () => newProject(studio, places) }),
      button({ icon: "house", text: "Demo house", run: () => tryDemo(studio) }),
      button({ icon: "close", text: "Close this project", run: () => studio.api.post("/api/projects/close") })),
    jobPlace(studio, ["demo"], () => location.assign("/")));
  return page;
}

/** The house as it is known so far: its photo with the tracing over it. @param {any} studio */
function plate(studio) {
  const frame = el("figure", { class: "plate home-plate" });
  if (!studio.project.scan) {
    frame.append(el("div", { class: "plate-empty" }, drawnHouse(), el("p", {}, "No photo yet. The scan takes one by the projector's light.")));
    return frame;
  }
  const image = el("img", { src: `/api/scan/${encodeURIComponent(studio.project.scan)}/photo`, alt: `${studio.project.name} by the projector's light` });
  frame.append(image);
  studio.api.get("/api/tracing").then((/** @type {any} */ state) => frame.append(overlay(state))).catch(() => {});
  return frame;
}

/** @param {any} state */
function overlay(state) {
  const ns = "http://www.w3.org/2000/svg";
  const drawing = document.createElementNS(ns, "svg");
  drawing.setAttribute("viewBox", `-0.5 -0.5 ${state.size[0]} ${state.size[1]}`);
  drawing.setAttribute("aria-hidden", "true");
  for (const path of state.paths) {
    const line = document.createElementNS(ns, "path");
    line.setAttribute("d", pathText(path));
    line.setAttribute("stroke", `var(--k-${path.kind})`);
    drawing.append(line);
  }
  return drawing;
}

/** @param {any} path */
function pathText(path) {
  const start = path.segments[0].start;
  const parts = path.segments.map((/** @type {any} */ s) => {
    if (s.type === "line") return `L${s.end}`;
    if (s.type === "cubic") return `C${s.control1} ${s.control2} ${s.end}`;
    return `A${s.radius} ${s.rotation_deg} ${Number(s.large)} ${Number(s.sweep)} ${s.end}`;
  });
  return `M${start} ${parts.join(" ")}${path.closed ? "Z" : ""}`;
}

/** @param {string} stage @param {string} title @param {string} question @param {any} state */
function rung(stage, title, question, state) {
  return el("li", { class: state.state }, el("a", { href: `/${stage}` },
    el("i", { class: "stop", "aria-hidden": "true" }),
    el("strong", {}, title),
    el("span", { class: "soft" }, question),
    el("span", { class: "rung-state" }, state.state === "done" ? state.text : state.state === "next" ? "next" : "")));
}

/** @param {any} studio @param {any} places */
function welcome(studio, places) {
  return el("div", { class: "page home welcome" },
    el("div", { class: "welcome-top" },
      el("div", { class: "stack wide" },
        el("h1", {}, "Light on your house, in its own lines"),
        el("p", { class: "next-words" }, "An ordinary projector, a phone on a tripod, and an evening. Limewash finds where every pixel lands, " +
          "you draw the windows on a photo by day, and the show plays on the edges."),
        el("div", { class: "row" },
          button({ icon: "plus", text: "New project", kind: "main big", run: () => newProject(studio, places) }),
          button({ icon: "folder", text: "Open a project", kind: "big", run: () => chooseFolder(studio, places) })),
        el("div", { class: "note" }, icon("house"), el("div", { class: "stack" },
          el("p", {}, "Only looking? The demo house is scanned and traced already; nothing needs to be carried outside."),
          el("div", {}, button({ text: "Try the demo house", run: () => tryDemo(studio) })))),
        jobPlace(studio, ["demo"], () => location.assign("/"))),
      drawnHouse()),
    places.recent.length ? el("section", { class: "stack" }, el("h2", {}, "Lately"), el("ul", { class: "recent" },
      ...places.recent.map((/** @type {any} */ item) => el("li", {}, el("button", { class: "recent-item", type: "button", on: { click: () => open(studio, item.folder) } },
        el("strong", {}, item.name), el("span", { class: "soft small mono" }, item.folder)))))) : null);
}

/** @param {any} studio @param {string} folder */
async function open(studio, folder) {
  await startJob(studio, () => studio.api.post("/api/projects/open", { folder }));
}

/** @param {any} studio */
async function tryDemo(studio) {
  await startJob(studio, () => studio.api.post("/api/projects/demo", { house: "painted" }));
}

/** @param {string} text */
const sentence = (text) => `${text[0].toUpperCase()}${text.slice(1)}.`;

/** A house front in the beam: line art of our own. */
function drawnHouse() {
  const holder = el("div", { class: "drawn-house" });
  holder.innerHTML = `<svg viewBox="0 0 520 380" role="img" aria-label="A projector on the lawn lights the lines of a house">
    <path class="beam" d="M66 318 214 92 470 70 486 306Z"/>
    <path class="wall" d="M210 306V150L348 72 486 150V306Z"/>
    <path class="lit" d="M196 158 348 72 500 158M238 178h48v58h-48zM410 178h48v58h-48zM326 306V232a22 22 0 0 1 44 0v74M316 150a32 32 0 0 1 64 0z"/>
    <path class="soft" d="M262 178v58M238 207h48M434 178v58M410 207h48M348 150v-32M20 330h480M40 318h34l10 12"/>
    <path class="box" d="M34 300h40v18H34zM42 318v12M66 318v12"/><circle class="lens" cx="74" cy="309" r="5"/>
  </svg>`;
  return holder;
}
