// @ts-check
/** Filming with a camera of this computer while the projector page plays the pattern. */

import * as api from "../api.js";
import { sheet } from "../dialogs.js";
import { button, el, icon } from "../dom.js";

const LEAD_MS = 700;
const MOST_BITS = 40_000_000;

/** @param {any} studio @param {() => void} done */
export async function cameraSheet(studio, done) {
  const video = el("video", { autoplay: true, muted: true, playsinline: true });
  const choice = el("select", { id: "camera", "aria-label": "Camera" });
  const words = el("p", { class: "small" }, "The projector page plays the pattern film by itself as soon as filming begins.");
  const start = button({ icon: "play", text: "Film the pattern", kind: "main", disabled: true, run: () => film() });
  const dialog = sheet("Film with a camera of this computer", el("div", { class: "plate" }, video), el("div", { class: "row camera-row" }, choice, start), words);
  dialog.classList.add("camera-dialog");
  /** @type {MediaStream | null} */
  let stream = null;
  /** Ends what goes on, without handing anything over. */
  let giveUp = () => {};
  let closed = false;
  dialog.addEventListener("close", () => {
    closed = true;
    giveUp();
    stream?.getTracks().forEach((track) => track.stop());
  });
  choice.addEventListener("change", () => look(choice.value));

  /** @param {string} text @param {...(Node | string)} before */
  function tell(text, ...before) {
    words.replaceChildren(...before, text);
    studio.announce(text);
  }

  /** @param {string} [id] */
  async function look(id) {
    stream?.getTracks().forEach((track) => track.stop());
    try {
      stream = await navigator.mediaDevices.getUserMedia({ audio: false, video: { deviceId: id ? { exact: id } : undefined, width: { ideal: 3840 }, frameRate: { ideal: 30 } } });
    } catch {
      tell("No camera could be opened: connect one and allow it for this page.", icon("care"), " ");
      return;
    }
    if (closed) return stream.getTracks().forEach((track) => track.stop()); // it took its time
    video.srcObject = stream;
    const devices = (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "videoinput");
    const present = stream.getVideoTracks()[0].getSettings().deviceId;
    choice.replaceChildren(...devices.map((one, n) => el("option", { value: one.deviceId, selected: one.deviceId === present }, one.label || `Camera ${n + 1}`)));
    start.disabled = false;
  }

  async function film() {
    if (!stream) return;
    if (!studio.projector.state.page) {
      studio.say("Open the projector page on the projector first.", "care");
      return;
    }
    start.disabled = true;
    const type = ["video/mp4;codecs=avc1", "video/webm;codecs=vp9", "video/webm"].find((one) => MediaRecorder.isTypeSupported(one)) ?? "";
    const recorder = new MediaRecorder(stream, { mimeType: type, videoBitsPerSecond: MOST_BITS });
    /** @type {Blob[]} */
    const parts = [];
    recorder.ondataavailable = (event) => parts.push(event.data);
    recorder.onstop = () => { if (wanted) send(new Blob(parts, { type }), type.startsWith("video/mp4") ? "camera.mp4" : "camera.webm"); };
    let wanted = true;
    recorder.start(1000);
    const stop = studio.live.on("film", (/** @type {any} */ message) => {
      if (message.what === "failed") {
        giveUp();
        tell("The projector page cannot play the pattern film: make it first, step 1.", icon("care"), " ");
        start.disabled = false;
      }
      if (message.what !== "ended") return;
      stop();
      setTimeout(() => { if (wanted) recorder.stop(); }, LEAD_MS);
    });
    tell("Filming. Move neither camera nor projector.");
    const lead = setTimeout(() => studio.projector.show("pattern-film"), LEAD_MS);
    giveUp = () => {
      if (!wanted || recorder.state === "inactive") return;
      wanted = false;
      stop();
      clearTimeout(lead);
      recorder.stop();
      studio.projector.show("black");
    };
  }

  /** @param {Blob} clip @param {string} name */
  async function send(clip, name) {
    studio.projector.show("black");
    tell("Handing the clip over.");
    try {
      await api.upload(`/api/scan/clip?name=${name}`, clip, () => {});
      dialog.close();
      done();
    } catch (error) {
      tell(/** @type {Error} */ (error).message);
      start.disabled = false;
    }
  }
  await look();
}
