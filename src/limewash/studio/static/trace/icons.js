// @ts-check
/** The tools: names, line drawings on a 20 x 20 sheet, words and keys. */
import { svg } from "../dom.js";

const SHAPES = {
  pick: "M4.5 3v12.2l3.4-3.1 2.2 4.9 2-0.9-2.2-4.8h4.6z",
  lines: "M3 16 8 5l4 7 5-8.5",
  rectangle: "M3.5 5.5h13v9.5h-13z",
  corners: "M4 6.5 15.5 4v11.5L4 13.5zM4 6.5h.01M15.5 4h.01",
  halfround: "M3 14.5a7 7 0 0 1 14 0z",
  ellipse: "M10 4.5c4 0 7 2.4 7 5.5s-3 5.5-7 5.5-7-2.4-7-5.5 3-5.5 7-5.5z",
  arc: "M3 14.5C5 7 15 7 17 14.5",
  curve: "M2.5 13c3-9 6 6 8.5-1s4-6 6.5-4.5",
  wire: "M3 16V9.5c0-4 6.5-4 6.5 0v2c0 3.5 7 3.5 7-.5V4M1.8 16h2.4M15.3 4h2.4",
  measure: "M2.5 13.5 13.5 2.5l4 4-11 11zM5.5 10.5l1.7 1.7M8 8l2.4 2.4M10.5 5.5l1.7 1.7",
  mirror: "M10 2.5v15M7.5 6 3 14h4.500zM12.500 6 17 14h-4.500z",
  repeat: "M2.500 6.500h4v7h-4zM8.500 6.500h4v7h-4zM14.500 6.500h3v7h-3",
};

/** @typedef {keyof typeof SHAPES} Shape */

/** @param {Shape} name */
export const toolIcon = (name) => svg("svg", { viewBox: "0 0 20 20", class: "icon", "aria-hidden": "true" }, svg("path", { d: SHAPES[name] }));

/** @type {[string, Shape, string, string][]} name, icon, words, key */
export const TOOLS = [
  ["pick", "pick", "Take in hand", "T"], ["lines", "lines", "Lines", "L"], ["rectangle", "rectangle", "Rectangle on the wall", "R"],
  ["corners", "corners", "Rectangle by four corners", "Q"], ["halfround", "halfround", "Half-round", "H"], ["ellipse", "ellipse", "Ellipse", "E"],
  ["arc", "arc", "Arc", "A"], ["curve", "curve", "Smooth curve", "C"], ["wire", "wire", "Live wire along edges", "W"],
  ["measure", "measure", "Measure", "M"], ["mirror", "mirror", "Mirror", "Shift+M"], ["repeat", "repeat", "Repeat in a row", "Shift+R"],
];
