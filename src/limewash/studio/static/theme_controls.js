// @ts-check
import { button, el, icon } from "./dom.js";

/** Night and day, and how bright the night is. */
export function themeControls() {
  const root = document.documentElement;
  const dim = el("input", {
    type: "range", min: 0.45, max: 1, step: 0.05, value: localStorage.getItem("limewash.dim") ?? "1",
    "aria-label": "Brightness of the night theme", title: "Brightness at night", class: "dim",
    on: { input: () => {
      root.style.setProperty("--dim", dim.value);
      localStorage.setItem("limewash.dim", dim.value);
    } },
  });
  const toggle = button({ icon: "day", label: "Theme", run: () => set(root.dataset.theme === "night" ? "day" : "night") });
  /** @param {string} theme */
  function set(theme) {
    root.dataset.theme = theme;
    localStorage.setItem("limewash.theme", theme);
    const other = theme === "night" ? "day" : "night";
    const words = `Theme for the ${other}`;
    toggle.replaceChildren(icon(other));
    toggle.title = words;
    toggle.setAttribute("aria-label", words);
    dim.disabled = theme !== "night";
    dispatchEvent(new CustomEvent("themechange"));
  }
  set(root.dataset.theme ?? "night");
  return el("span", { class: "theme" }, dim, toggle);
}
