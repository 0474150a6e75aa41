// @ts-check
/** Which fields of the house stand together on the Site page. */

import { button, el } from "../dom.js";

/**
 * @param {import("../form.js").Form} form @param {any} schema @param {() => void} redraw
 * @returns {{name: string, title: string, body: HTMLElement}[]}
 */
export function groups(form, schema, redraw) {
  return [
    group("front", "House front", front(form, schema, redraw)),
    group("measured", "Measured points", measured(form, redraw)),
    group("projector", "Projector", projector(form)),
    group("stand", "Where it stands", stand(form, redraw)),
    group("light", "Light around", light(form, redraw)),
    group("ground", "Ground, people, neighbours", ground(form, redraw)),
    group("search", "What a stand must reach", search(form)),
    group("power", "Power and cord", power(form, redraw)),
    group("feet", "Feet, box, player", feet(form, redraw)),
    group("place", "Name and place", place(form, redraw)),
  ];
}

/** @param {string} name @param {string} title @param {(HTMLElement | null)[]} fields */
const group = (name, title, fields) => ({ name, title, body: el("div", { class: "pair" }, ...fields) });

/** A wide row in the two columns. @param {...(Node | string)} children */
const wide = (...children) => el("div", { class: "across" }, ...children);

/**
 * Where something is not given yet: why it matters, and a button that begins it.
 * @param {import("../form.js").Form} form @param {string} path @param {any} fresh @param {string} words @param {string} add @param {() => void} redraw
 */
const begin = (form, path, fresh, words, add, redraw) => [wide(el("p", { class: "soft small" }, words),
  button({ icon: "plus", text: add, run: () => { form.set(path, fresh, add.toLowerCase()); redraw(); } }))];

/** @param {import("../form.js").Form} form @param {any} schema @param {() => void} redraw */
function front(form, schema, redraw) {
  if (!form.get("facade")) {
    return begin(form, "facade", { width_m: 10, height_m: 6, reflectance: 0.5, measured: [], part: [] },
      "Width and height of the house front with a tape; everything else follows from them.", "Add the front", redraw);
  }
  return [
    form.field("facade.width_m"), form.field("facade.height_m"),
    form.field("facade.material", { list: schema.materials, hint: "Or give the reflectance instead" }), form.field("facade.reflectance"),
    wide(el("h3", {}, "Flat parts, if it is not one rectangle"), form.list("facade.part", {
      title: (part) => part.name, fields: ["name", "section", "rectangle", "forward_m", "material", "reflectance"], add: "Add a part", redraw,
      fresh: () => ({ name: `part ${(form.get("facade.part") ?? []).length + 1}`, rectangle: [0, 0, form.get("facade.width_m"), form.get("facade.height_m")], reflectance: 0.5 }),
    })),
  ];
}

/** @param {import("../form.js").Form} form @param {() => void} redraw */
function measured(form, redraw) {
  if (!form.get("facade")) return [wide(el("p", { class: "soft small" }, "Add the front first."))];
  return [wide(el("p", { class: "soft small" }, "Measured with the tape and found on the photo; four or more give the wall its metres."),
    form.list("facade.measured", {
      title: (point) => point.what, fields: ["what", "wall_m", "photo_px"], add: "Add a point", redraw,
      fresh: () => ({ what: `point ${(form.get("facade.measured") ?? []).length + 1}`, wall_m: [0, 0], photo_px: [0, 0] }),
    }))];
}

/** @param {import("../form.js").Form} form */
function projector(form) {
  const p = "rig.0.projector";
  return [
    wide(form.field(`${p}.name`)),
    form.field(`${p}.size`, { label: "Native pixels" }), form.field(`${p}.throw_ratio`),
    form.field(`${p}.light_lm`, { label: "Light output" }), form.field(`${p}.contrast`),
    form.field(`${p}.lens_shift`), form.field(`${p}.light_measured`, { label: "Light measured by" }),
    form.field(`${p}.throw_range`), form.field(`${p}.light_share`, { label: "Light left" }),
    form.field(`${p}.shift_range_x`, { label: "Shift sideways" }), form.field(`${p}.shift_range_y`, { label: "Shift upwards" }),
    form.field(`${p}.focus_range_m`), form.field(`${p}.f_number`),
    form.field(`${p}.corner_light`), form.field(`${p}.power_w`),
  ];
}

/** @param {import("../form.js").Form} form @param {() => void} redraw */
function stand(form, redraw) {
  const width = form.get("facade")?.width_m ?? 10;
  if (!form.get("rig.0.stand")) {
    return begin(form, "rig.0.stand", { x_m: width / 2, height_m: 0.5, distance_m: Math.round(width * form.get("rig.0.projector.throw_ratio") * 10) / 10, tilt_deg: 6 },
      "Where the lens is: along the wall, above the ground, and out from the wall. Or let Limewash try every stand.", "Place it by hand", redraw);
  }
  const s = "rig.0.stand";
  return ["x_m", "distance_m", "height_m", "yaw_deg", "tilt_deg", "roll_deg"].map((name) => form.field(`${s}.${name}`, {
    label: { x_m: "Along the wall", distance_m: "From the wall", height_m: "Above ground", yaw_deg: "Turned right", tilt_deg: "Tilted up", roll_deg: "Rolled clockwise" }[name],
  }));
}

/** @param {import("../form.js").Form} form @param {() => void} redraw */
function light(form, redraw) {
  if (!form.get("site")) {
    return begin(form, "site", { ambient: { wall_lx: 2 } }, "The light on the wall at show time decides how bright the projector must be.", "Add the light around", redraw);
  }
  return [form.field("site.ambient.wall_lx", { label: "Measured on wall" }), form.field("site.ambient.street", { label: "Or street class" }),
    form.field("site.ambient.moon"), form.field("site.units", { label: "Units shown" })];
}

/** @param {import("../form.js").Form} form @param {() => void} redraw */
function ground(form, redraw) {
  if (!form.get("site")) return [wide(el("p", { class: "soft small" }, "Give the light around first."))];
  const width = form.get("facade")?.width_m ?? 10;
  return [wide(
    el("h3", {}, "Trees, posts, cars, hedges"), form.list("site.obstacle", {
      title: (one) => one.name, fields: ["name", "kind", "across_m", "height_m", "distance_m"], add: "Add something in the way", redraw,
      fresh: () => ({ name: `tree ${(form.get("site.obstacle") ?? []).length + 1}`, kind: "tree", across_m: [1, 2], height_m: [0, 3], distance_m: [3, 4] }),
    }),
    el("h3", {}, "Where people watch"), form.list("site.audience", {
      title: (one) => one.name, fields: ["name", "x_m", "distance_m", "eye_m"], add: "Add a spot", redraw,
      fresh: () => ({ name: "pavement", x_m: width / 2, distance_m: 12, eye_m: 1.6 }),
    }),
    el("h3", {}, "Neighbours' windows"), form.list("site.neighbour", {
      title: (one) => one.name, fields: ["name", "rectangle", "forward_m"], add: "Add a neighbour's window", redraw,
      fresh: () => ({ name: "next door", rectangle: [width + 4, 2, 1.2, 1.4] }),
    }),
    el("p", { class: "soft small" }, "Zones of ground where a projector may stand are written in house.toml as [[site.zone]]."))];
}

/** @param {import("../form.js").Form} form */
function search(form) {
  if (!form.get("site")) return [wide(el("p", { class: "soft small" }, "Give the light around first."))];
  return ["need_coverage", "need_contrast", "step_m"].map((name) => form.field(`site.search.${name}`, {
    label: { need_coverage: "Share lit at least", need_contrast: "Contrast at least", step_m: "Step of the search" }[name],
  })).concat(["coverage", "contrast", "sharpness", "waste", "obstruction", "cable"].map((name) => form.field(`site.search.weights.${name}`, { label: `Weight of ${name}` })));
}

/** @param {import("../form.js").Form} form @param {() => void} redraw */
function power(form, redraw) {
  if (!form.get("site")) return [wide(el("p", { class: "soft small" }, "Give the light around first."))];
  if (!form.get("site.power")) {
    return begin(form, "site.power", { outlet_x_m: 0 }, "Where the socket is; tells cord, voltage drop and cost.", "Add the socket", redraw);
  }
  return ["outlet_x_m", "outlet_distance_m", "outlet_height_m", "voltage_v", "breaker_a", "other_load_w", "cord_mm2", "cord_awg", "cord_m", "rcd", "hours_a_night", "nights", "price_per_kwh", "currency"]
    .map((name) => form.field(`site.power.${name}`, { label: { cord_mm2: "Cord, square mm", cord_awg: "Cord, gauge", cord_m: "Cord length", rcd: "Residual-current device" }[name] }));
}

/** @param {import("../form.js").Form} form @param {() => void} redraw */
function feet(form, redraw) {
  const rows = [form.field("rig.0.player"), form.field("rig.0.player_size"), form.field("rig.0.player_rate_hz", { label: "Player's rate" }), form.field("rig.0.video_cable_m", { label: "Video cable" })];
  if (!form.get("rig.0.projector.feet")) {
    return [...rows, ...begin(form, "rig.0.projector.feet", { front_to_rear_m: 0.25 }, "Where the projector's feet are tells how high to prop it.", "Add the feet", redraw)];
  }
  return [...rows, ...["front_to_rear_m", "apart_m", "lens_ahead_m", "lens_above_m", "lens_aside_m"].map((name) => form.field(`rig.0.projector.feet.${name}`))];
}

/** @param {import("../form.js").Form} form @param {() => void} redraw */
function place(form, redraw) {
  const rows = [wide(form.field("name", { label: "What you call the house" }))];
  if (!form.get("place")) {
    const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
    return [...rows, ...begin(form, "place", { latitude_deg: 0, longitude_deg: 0, time_zone: zone }, "Where the house is; the night's schedule needs it.", "Add the place", redraw)];
  }
  return [...rows, form.field("place.latitude_deg", { label: "Latitude, north" }), form.field("place.longitude_deg", { label: "Longitude, east" }), wide(form.field("place.time_zone"))];
}
