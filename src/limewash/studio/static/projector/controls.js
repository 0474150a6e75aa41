// @ts-check
/** Controls for the projector that several pages share: what it shows, how lines look, the phone. */

import { sheet } from "../dialogs.js";
import { button, el, icon } from "../dom.js";

const COLOURS = { "#ffffff": "white", "#ffd27a": "lamp light", "#8ff0c8": "green", "#7ec8ff": "blue", "#ff9ad0": "rose", "#ff6a4a": "red" };

/** Warnings of the projector page and how lines look. @param {any} studio */
export function lookControls(studio) {
  const width = el("input", { type: "range", min: 1, max: 8, step: 0.5, id: "line-width", on: { input: () => send({ line_px: Number(width.value) }) } });
  const words = el("span", { class: "number" });
  const swatches = el("div", { class: "swatches", role: "group", "aria-label": "Colour of the light" }, ...Object.entries(COLOURS).map(([colour, words]) =>
    el("button", { class: "swatch", type: "button", style: `--colour: ${colour}`, title: words, "aria-label": words, "data-colour": colour, on: { click: () => send({ colour, by_kind: false }) } })));
  const kinds = el("input", { type: "checkbox", id: "by-kind", on: { change: () => send({ by_kind: kinds.checked }) } });
  let look = studio.projector.state.look;
  let sending = false;
  let newest = look;
  /** One after the other, of many the newest: the last one counts. @param {object} change */
  async function send(change) {
    look = newest = { ...look, ...change };
    if (sending) return;
    sending = true;
    try {
      for (let sent = null; sent !== newest;) await studio.api.put("/api/projector/look", (sent = newest));
    } catch (error) {
      studio.say(/** @type {Error} */ (error).message, "care");
    }
    sending = false;
    show(studio.projector.state);
  }
  const show = (/** @type {any} */ state) => {
    if (!state.look || sending) return;
    look = state.look;
    width.value = String(look.line_px);
    words.textContent = `${look.line_px} px`;
    kinds.checked = look.by_kind;
    for (const one of swatches.children) one.setAttribute("aria-pressed", String(!look.by_kind && one.dataset.colour === look.colour));
  };
  studio.projector.watch(show);
  return el("div", { class: "stack" },
    el("div", { class: "field" }, el("label", { for: "line-width", class: "row" }, "Thickness of the light", el("span", { class: "grow" }), words), width),
    swatches, el("label", { class: "check" }, kinds, "A colour for each kind"));
}

/** Whether the projector meets its pixels; says what to do when not. @param {any} studio */
export function projectorHealth(studio) {
  const place = el("div", { class: "stack" });
  let said = "";
  studio.projector.watch((/** @type {any} */ state) => {
    const now = JSON.stringify([Boolean(state.page), state.warnings, state.native]);
    if (now === said) return; // nothing is made anew under the person's hand
    said = now;
    if (!state.page) {
      place.replaceChildren(el("div", { class: "note" }, icon("beam"), el("div", { class: "stack" }, el("p", {}, "The projector page is not open."),
        el("div", {}, button({ text: "Open it", run: () => studio.projector.open() })))));
    } else if (state.warnings.length) {
      place.replaceChildren(...state.warnings.map((/** @type {string} */ text) => el("div", { class: "note care" }, icon("care"), el("p", {}, text))));
    } else {
      place.replaceChildren(el("div", { class: "note good" }, icon("done"), el("p", {}, `Pixel by pixel on ${state.native[0]} × ${state.native[1]}.`)));
    }
  });
  return place;
}

/** The phone as a track pad: off until asked for. @param {any} studio */
export function phoneControls(studio) {
  const words = el("span", { class: "soft small" });
  const control = button({ icon: "phone", text: "Phone as track pad", run: () => phoneSheet(studio) });
  const refresh = async () => {
    const state = await studio.api.get("/api/phone");
    words.textContent = !state.open ? "" : state.phones ? `${state.phones} phone${state.phones > 1 ? "s" : ""} let in` : "waiting for a phone";
  };
  studio.live.on("phone", refresh);
  refresh();
  return el("div", { class: "row" }, control, words);
}

/** @param {any} studio */
async function phoneSheet(studio) {
  const body = el("div", { class: "stack" });
  const dialog = sheet("The phone as a track pad", body);
  dialog.classList.add("new-dialog");
  const draw = async (/** @type {any} */ state) => {
    if (!state.open) {
      body.replaceChildren(
        el("p", {}, "The phone must be on this computer's network. While the link is open, one small page can be reached from it, by whoever has the code."),
        state.trouble ? el("p", { class: "fault" }, state.trouble) : "",
        el("div", { class: "row end" }, button({ text: "Open the link", kind: "main", run: () => begin() })));
      return;
    }
    const code = await (await fetch("/api/phone/qr")).blob();
    body.replaceChildren(
      el("img", { class: "qr", alt: "QR code of the phone's address", src: URL.createObjectURL(code) }),
      el("p", { class: "mono small" }, state.address.replace(/\?code=.*/, "")),
      el("p", {}, el("span", { class: "phone-code" }, state.code.replace(/(.{4})/, "$1 "))),
      el("p", { class: "soft small" }, state.phones ? `${state.phones} let in. Each code lets one phone in.` : "Photograph the code. It lets one phone in and is then used up."),
      el("div", { class: "row end" }, button({ text: "Close the link", run: async () => draw(await studio.api.post("/api/phone/close")) })));
  };
  const begin = async () => {
    try {
      await draw(await studio.api.post("/api/phone/open"));
    } catch (error) {
      body.append(el("p", { class: "fault" }, /** @type {Error} */ (error).message));
    }
  };
  const stop = studio.live.on("phone", async () => draw(await studio.api.get("/api/phone")));
  dialog.addEventListener("close", stop);
  await draw(await studio.api.get("/api/phone"));
}
