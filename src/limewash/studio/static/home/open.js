// @ts-check
/** Choosing a folder on this computer, and making a project. */

import { sheet } from "../dialogs.js";
import { button, el, icon } from "../dom.js";

/** @param {any} studio @param {any} places */
export async function chooseFolder(studio, places) {
  const list = el("ul", { class: "folders" });
  const where = el("p", { class: "soft small mono" });
  const dialog = sheet("Open a project", where, list);
  dialog.classList.add("folder-dialog");
  const start = places.recent[0] ? above(places.recent[0].folder) : places.home;

  /** @param {string} at */
  async function look(at) {
    let found;
    try {
      found = await studio.api.get(`/api/projects/folders?at=${encodeURIComponent(at)}`);
    } catch (error) {
      if (at !== places.home) return look(places.home);
      studio.say(/** @type {Error} */ (error).message, "care");
      return;
    }
    where.textContent = found.at;
    list.replaceChildren(
      ...(found.above ? [item("up", "one folder up", () => look(found.above))] : []),
      ...found.folders.map((/** @type {any} */ folder) => folder.is_project
        ? item("house", folder.name, async () => { dialog.close(); await open(studio, folder.path); }, "project")
        : item("folder", folder.name, () => look(folder.path))),
      ...(found.folders.length ? [] : [el("li", { class: "soft" }, "No folders here.")]));
    list.querySelector("button")?.focus();
  }
  await look(start);
}

/** @param {string} path */
const above = (path) => path.replace(/[\\/][^\\/]+[\\/]?$/, "") || path;

/** @param {any} sign @param {string} words @param {() => void} run @param {string} [kind] */
function item(sign, words, run, kind = "") {
  return el("li", {}, el("button", { type: "button", class: `folder ${kind}`, on: { click: run } }, icon(sign), words,
    kind === "project" ? el("span", { class: "soft small" }, "project") : null));
}

/** @param {any} studio @param {string} folder */
async function open(studio, folder) {
  try {
    await studio.api.post("/api/projects/open", { folder });
  } catch (error) {
    studio.say(/** @type {Error} */ (error).message, "care", true);
  }
}

const SIZES = ["1920x1080", "1280x800", "1920x1200", "3840x2160", "1280x720", "1024x768"];

/** @param {any} studio @param {any} places */
export function newProject(studio, places) {
  const fault = el("p", { class: "fault", role: "alert" });
  const name = el("input", { id: "new-name", autocomplete: "off", required: true, maxlength: 120, value: "Our house" });
  const folder = el("input", { id: "new-folder", autocomplete: "off", required: true });
  const size = el("input", { id: "new-size", autocomplete: "off", list: "sizes", value: "1920x1080", pattern: "\\s*\\d{3,4}\\s*[x×]\\s*\\d{3,4}\\s*" });
  let own = false;
  const follow = () => {
    if (!own) folder.value = `${places.suggested}/${name.value.trim().toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "house"}`;
  };
  folder.addEventListener("input", () => { own = true; });
  name.addEventListener("input", follow);
  follow();
  const dialog = sheet("New project",
    el("form", { class: "stack", on: { submit: async (/** @type {Event} */ event) => {
      event.preventDefault();
      const [width, height] = size.value.split(/[x×]/).map(Number);
      try {
        await studio.api.post("/api/projects/new", { name: name.value, folder: folder.value, size: [width, height] });
      } catch (error) {
        fault.textContent = /** @type {Error} */ (error).message;
      }
    } } },
      el("div", { class: "field" }, el("label", { for: "new-name" }, "What you call the house"), name),
      el("div", { class: "field" }, el("label", { for: "new-size" }, "Native pixels of the projector, from its data sheet"), size,
        el("datalist", { id: "sizes" }, ...SIZES.map((one) => el("option", { value: one })))),
      el("div", { class: "field" }, el("label", { for: "new-folder" }, "Folder that will hold everything"), folder),
      fault,
      el("div", { class: "row end" }, button({ text: "Cancel", run: () => dialog.close() }),
        el("button", { class: "button main", type: "submit" }, "Make it"))));
  dialog.classList.add("new-dialog");
  name.select();
}
