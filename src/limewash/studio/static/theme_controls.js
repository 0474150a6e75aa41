// @ts-check
import { button, el } from "./dom.js";

/** Night and day, and how bright the night is. */
export function themeControls() {
  const root = document.documentElement;
  const dim = el("input", {
    type: "range", min: 0.45, max: 1.15, step: 0.05, value: localStorage.getItem("limewash.dim") ?? "1",
    "aria-label": "Brightness of the night theme", title: "Brightness at night", class: "dim",
    on: { input: () => {
      root.style.setProperty("--dim", dim.value);
      localStorage.setItem("limewash.dim", dim.value);
    } },
  });
  const toggle = el("span", { class: "theme-toggle" });
  /** @param {string} theme */
  function set(theme) {
    root.dataset.theme = theme;
    localStorage.setItem("limewash.theme", theme);
    const other = theme === "night" ? "day" : "night";
    toggle.replaceChildren(button({ icon: other, label: `Theme for the ${other}`, run: () => set(other) }));
    dim.disabled = theme !== "night";
    dispatchEvent(new CustomEvent("themechange"));
  }
  set(root.dataset.theme ?? "night");
  return el("span", { class: "theme" }, dim, toggle);
}
