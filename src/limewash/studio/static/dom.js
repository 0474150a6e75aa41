// @ts-check
/** Small helpers for building pages. */

/**
 * An element with attributes and children. `on` holds listeners, `class` and `data-*` are plain attributes, true sets a
 * bare attribute, null and false leave it out.
 * @param {string} name
 * @param {Record<string, any>} [attributes]
 * @param {...(Node | string | null | undefined | false)} children
 * @returns {any}
 */
export function el(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "on") for (const [type, listener] of Object.entries(value)) element.addEventListener(type, listener);
    else if (value === true) element.setAttribute(key, "");
    else if (value !== null && value !== undefined && value !== false) element.setAttribute(key, String(value));
  }
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

/**
 * An SVG element.
 * @param {string} name @param {Record<string, any>} [attributes] @param {...(Node | string)} children
 * @returns {any}
 */
export function svg(name, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined) element.setAttribute(key, String(value));
  }
  element.append(...children);
  return element;
}

/** Line drawings on a 20 x 20 sheet. */
const ICONS = {
  undo: "M7 5 3.5 8.5 7 12M4 8.5h8a4 4 0 0 1 0 8H8",
  redo: "M13 5l3.5 3.5L13 12M16 8.5H8a4 4 0 0 0 0 8h4",
  about: "M10 9v5.5M10 5.6v.3M10 2.5a7.5 7.5 0 1 0 0 15 7.5 7.5 0 0 0 0-15z",
  help: "M7.2 7.4a2.9 2.9 0 1 1 4.2 2.7c-.9.5-1.4 1-1.4 2.1M10 15.2v.3",
  day: "M10 6.5a3.5 3.5 0 1 0 0 7 3.5 3.5 0 0 0 0-7zM10 1.5v2M10 16.5v2M1.5 10h2M16.5 10h2M4 4l1.4 1.4M14.6 14.6 16 16M4 16l1.4-1.4M14.6 5.4 16 4",
  night: "M15.5 12.5A6.5 6.5 0 0 1 7.5 4.5a6.5 6.5 0 1 0 8 8z",
  beam: "M2.5 8h5v4h-5zM7.5 9 17.5 4v12l-10-5",
  blank: "M2.5 8h5v4h-5zM10.5 6l6 8M16.5 6l-6 8",
  phone: "M6.5 2.5h7a1 1 0 0 1 1 1v13a1 1 0 0 1-1 1h-7a1 1 0 0 1-1-1v-13a1 1 0 0 1 1-1zM9 15h2",
  folder: "M2.5 5.5h5l1.5 2h8.5v8.5h-15z",
  plus: "M10 4v12M4 10h12",
  close: "M5 5l10 10M15 5 5 15",
  play: "M6 4.5v11l9-5.5z",
  pause: "M6.5 4.5v11M13.5 4.5v11",
  stop: "M5.5 5.5h9v9h-9z",
  save: "M10 3v9M6.5 8.5 10 12l3.5-3.5M4 16.5h12",
  up: "M10 16V6M6.5 9.5 10 6l3.5 3.5M4 3.5h12",
  done: "M4 10.5 8.5 15 16 6",
  care: "M10 3 2.5 16.5h15zM10 8.5v3.5M10 14v.3",
  target: "M10 2.5v5M10 12.5v5M2.5 10h5M12.5 10h5M10 6.5a3.5 3.5 0 1 0 0 7 3.5 3.5 0 0 0 0-7z",
  camera: "M2.5 6h3l1.5-2h6l1.5 2h3v10h-15zM10 8.2a2.8 2.8 0 1 0 0 5.6 2.8 2.8 0 0 0 0-5.6z",
  film: "M3 4.5h14v11H3zM6 4.5v11M14 4.5v11M3 10h3M14 10h3",
  box: "M3 6.5 10 3l7 3.5v7L10 17l-7-3.5zM3 6.5 10 10l7-3.5M10 10v7",
  house: "M3 9.5 10 4l7 5.5M5 8.5V16h10V8.5M8.5 16v-4h3v4",
  pen: "M4 16l.8-3.6L13.5 3.7l2.8 2.8-8.7 8.7z",
};

/** @param {keyof typeof ICONS} name */
export function icon(name) {
  return svg(
    "svg",
    { viewBox: "0 0 20 20", class: "icon", "aria-hidden": "true" },
    svg("path", { d: ICONS[name] }),
  );
}

/**
 * A button with an icon, words, or both; without words `label` is read out and shown on hover.
 * @param {{icon?: keyof typeof ICONS, text?: string, label?: string, kind?: string, run?: (event: Event) => void,
 *   disabled?: boolean, href?: string}} options
 * @returns {any}
 */
export function button(options) {
  const inner = [options.icon ? icon(options.icon) : null, options.text ? el("span", {}, options.text) : null];
  const attributes = {
    class: `button ${options.kind ?? ""} ${options.text ? "" : "bare"}`.trim(),
    "aria-label": options.text ? null : options.label,
    title: options.label ?? null,
    on: options.run ? { click: options.run } : {},
  };
  if (options.href) return el("a", { ...attributes, href: options.href }, ...inner);
  return el("button", { ...attributes, type: "button", disabled: options.disabled ?? false }, ...inner);
}

const FOCUSABLE = "a[href], button:enabled, input:enabled, select:enabled, textarea:enabled, summary";

/**
 * Draw a part of the page anew without taking the focus from the person: the control with the same words has it
 * afterwards, else the one in its place.
 * @param {HTMLElement} place @param {() => void} draw
 */
export function redrawn(place, draw) {
  const held = document.activeElement;
  if (!(held instanceof HTMLElement) || !place.contains(held) || held === place) {
    draw();
    return;
  }
  const all = () => /** @type {HTMLElement[]} */ ([...place.querySelectorAll(FOCUSABLE)]);
  const words = (/** @type {HTMLElement} */ one) => one.id || one.getAttribute("aria-label") || one.textContent;
  const before = all();
  const [index, named] = [before.indexOf(held), words(held)];
  draw();
  if (place.contains(document.activeElement)) return;
  const after = all();
  (after.find((one) => words(one) === named) ?? after[Math.min(index, after.length - 1)])?.focus();
}

/** A number as people write it, with a point or a comma; NaN when it is none. @param {string} text */
export const numberOf = (text) => (text.trim() === "" ? NaN : Number(text.trim().replace(",", ".")));

/** @param {number} value @param {number} low @param {number} high */
export const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
