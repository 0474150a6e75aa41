// @ts-check
/**
 * Forms made from a model's JSON Schema: the page says which fields stand where, the schema says what each one is.
 *
 *   const form = new Form(schema, value, (value, what) => save(value, what));
 *   root.append(form.field("facade.width_m"), form.field("rig.0.projector.light_lm"));
 *   form.faults([{where: "facade.width_m", message: "must be more than 0"}]);
 */

import { button, el } from "./dom.js";
import { announce } from "./said.js";

const UNITS = ["m", "lx", "deg", "lm", "hz", "px", "kg", "w", "a", "v", "s", "mm2", "awg", "c", "k", "m2"];
const SPELLED = { degrees: "°", C: "°C", K: "K", m2: "m²", mm2: "mm²", "m3/h": "m³/h", "W/(m2 K)": "W/(m² K)", ": 1": ": 1" };

/** "3,000": three thousand to some, three to others. The server asks. */
const THOUSANDS = /^-?[1-9]\d{0,2}(,\d{3})+(\.\d*)?$/;

/** @typedef {{where: string, message: string}} Fault */

export class Form {
  /** @type {Map<string, {name: string, take: () => void, fault: (message: string) => void, faulty: () => boolean}>} */
  #fields = new Map();

  /** @param {any} schema @param {any} value @param {(value: any, what: string) => void} changed */
  constructor(schema, value, changed) {
    this.schema = schema;
    this.value = structuredClone(value);
    this.changed = changed;
  }

  /** Take another value, after undo or from another window; a field that is being typed in keeps its text. @param {any} value */
  take(value) {
    this.value = structuredClone(value);
    for (const field of this.#fields.values()) field.take();
  }

  /** Forget all fields: the page is about to make them anew. */
  clear() {
    this.#fields.clear();
  }

  /** Show each fault at its field; gives those that no field shows. @param {Fault[]} faults */
  faults(faults) {
    for (const field of this.#fields.values()) field.fault("");
    /** @type {string[]} */
    const heard = [];
    const rest = faults.filter((fault) => {
      const parts = fault.where.split(".");
      for (let n = parts.length; n > 0; n--) {
        const field = this.#fields.get(parts.slice(0, n).join("."));
        if (field) {
          field.fault(fault.message);
          heard.push(`${field.name}: ${fault.message}`);
          return false;
        }
      }
      return true;
    });
    announce(heard.join("; "));
    return rest;
  }

  /** @param {string} path @returns {any} */
  get(path) {
    return path.split(".").reduce((at, key) => at?.[key], this.value);
  }

  /** What changed while the field had the focus is shown now, unless it has a fault: then the person's own text stays. @param {string} path */
  #left(path) {
    queueMicrotask(() => {
      const field = this.#fields.get(path);
      if (field && !field.faulty()) field.take();
    });
  }

  /** Change a value and tell the page. @param {string} path @param {any} value @param {string} [what] */
  set(path, value, what) {
    const keys = path.split(".");
    const last = /** @type {string} */ (keys.pop());
    const place = keys.reduce((at, key) => (at[key] ??= {}), this.value);
    place[last] = value;
    this.changed(this.value, what ?? `change ${label(last).toLowerCase()}`);
  }

  /**
   * A field with its label, unit, hint and place for a fault.
   * @param {string} path @param {{label?: string, hint?: string, list?: string[]}} [options]
   * @returns {HTMLElement}
   */
  field(path, options = {}) {
    const { kind, nullable } = plain(this.schema, at(this.schema, path));
    const name = options.label ?? label(path.split(".").at(-1) ?? "");
    const id = `field-${path.replaceAll(".", "-")}`;
    const hint = options.hint ?? kind.description ?? "";
    const fault = el("span", { class: "fault", id: `${id}-fault` });
    const help = hint ? el("span", { class: "hint-words", id: `${id}-hint` }, hint) : null;
    const control = this.#control(path, kind, nullable, id, options, name);
    control.inputs.forEach((/** @type {HTMLElement} */ input) => input.setAttribute("aria-describedby", help ? `${id}-fault ${id}-hint` : `${id}-fault`));
    this.#fields.set(path, {
      name,
      take: control.take,
      faulty: () => fault.textContent !== "",
      fault: (message) => {
        fault.replaceChildren(...(message ? [el("span", {}, message)] : []));
        control.inputs.forEach((/** @type {HTMLElement} */ input) => input.setAttribute("aria-invalid", String(Boolean(message))));
      },
    });
    control.take();
    if (kind.type === "boolean" && !nullable) {
      return el("div", { class: "field" }, el("label", { class: "check", title: hint }, control.element, name), fault, help);
    }
    return el("div", { class: "field", title: hint }, el("label", { for: id }, name), control.element, fault, help);
  }

  /**
   * @param {string} path @param {any} kind @param {boolean} nullable @param {string} id
   * @param {{list?: string[]}} options @param {string} name
   * @returns {{element: HTMLElement, inputs: HTMLElement[], take: () => void}}
   */
  #control(path, kind, nullable, id, options, name) {
    if (kind.prefixItems) return this.#tuple(path, kind, nullable, id, name);
    if (kind.enum || kind.type === "boolean") return this.#choice(path, kind, nullable, id);
    return this.#text(path, kind, nullable, id, options);
  }

  /** @param {string} path @param {any} kind @param {boolean} nullable @param {string} id @param {{list?: string[]}} options */
  #text(path, kind, nullable, id, options) {
    const isNumber = kind.type === "number" || kind.type === "integer";
    const unit = SPELLED[/** @type {keyof typeof SPELLED} */ (kind.unit)] ?? kind.unit ?? "";
    const list = options.list ? el("datalist", { id: `${id}-list` }, ...options.list.map((one) => el("option", { value: one }))) : null;
    const input = el("input", {
      id, inputmode: isNumber && unit !== "m" ? "decimal" : null, autocomplete: "off", list: list ? `${id}-list` : null,
      placeholder: nullable ? "not given" : null, maxlength: 200,
      on: {
        change: () => this.set(path, isNumber && unit !== "m" && THOUSANDS.test(input.value.trim()) ? input.value.trim() : read(input.value, isNumber, nullable)),
        blur: () => this.#left(path),
        keydown: (/** @type {KeyboardEvent} */ event) => step(event, input, kind),
      },
    });
    const take = () => {
      if (document.activeElement !== input) input.value = shown(this.get(path));
    };
    const element = unit ? el("span", { class: "unit" }, input, el("span", {}, unit), list) : list ? el("span", {}, input, list) : input;
    return { element, inputs: [input], take };
  }

  /** @param {string} path @param {any} kind @param {boolean} nullable @param {string} id */
  #choice(path, kind, nullable, id) {
    if (kind.type === "boolean" && !nullable) {
      const box = el("input", { id, type: "checkbox", on: { change: () => this.set(path, box.checked) } });
      return { element: box, inputs: [box], take: () => { box.checked = Boolean(this.get(path)); } };
    }
    const values = kind.enum ?? [true, false];
    const words = kind.enum ? values : ["yes", "no"];
    const select = el("select", { id, on: { change: () => this.set(path, select.value === "" ? null : values[Number(select.value)]) } },
      ...(nullable ? [el("option", { value: "" }, "not given")] : []),
      ...values.map((/** @type {any} */ _, /** @type {number} */ n) => el("option", { value: n }, words[n])));
    const take = () => {
      const index = values.indexOf(this.get(path));
      select.value = index < 0 ? "" : String(index);
    };
    return { element: select, inputs: [select], take };
  }

  /** @param {string} path @param {any} kind @param {boolean} nullable @param {string} id @param {string} name */
  #tuple(path, kind, nullable, id, name) {
    const count = kind.prefixItems.length;
    const names = TUPLES[/** @type {keyof typeof TUPLES} */ (path.split(".").at(-1))] ?? [];
    const inputs = kind.prefixItems.map((/** @type {any} */ item, /** @type {number} */ n) => {
      const input = el("input", {
        id: n ? `${id}-${n}` : id, autocomplete: "off", "aria-label": `${name}, ${names[n] ?? n + 1}`, title: names[n], placeholder: names[n] ?? "",
        on: {
          change: () => {
            const values = inputs.map((/** @type {HTMLInputElement} */ one) => read(one.value, true, true));
            const empty = values.every((/** @type {any} */ one) => one === null);
            this.set(path, nullable && empty ? null : values);
          },
          blur: () => this.#left(path),
          keydown: (/** @type {KeyboardEvent} */ event) => step(event, input, item),
        },
      });
      return input;
    });
    const take = () => inputs.forEach((/** @type {HTMLInputElement} */ input, /** @type {number} */ n) => {
      if (document.activeElement !== input) input.value = shown(this.get(path)?.[n]);
    });
    return { element: el("span", { class: "tuple", style: `--count: ${count}` }, ...inputs), inputs, take };
  }

  /**
   * A list of things, each with its own fields: add, take out.
   * @param {string} path @param {{title: (item: any, n: number) => string, fields: string[], fresh: () => any, add: string, redraw: () => void}} options
   */
  list(path, options) {
    const items = this.get(path) ?? [];
    return el("div", { class: "stack list" },
      ...items.map((/** @type {any} */ item, /** @type {number} */ n) => el("div", { class: "list-item" },
        el("details", {}, el("summary", {}, el("span", { class: "grow" }, options.title(item, n))),
          el("div", { class: "pair" }, ...options.fields.map((name) => this.field(`${path}.${n}.${name}`)))),
        button({ icon: "close", label: `Take out ${options.title(item, n)}`, run: () => {
          this.set(path, this.get(path).filter((/** @type {any} */ _, /** @type {number} */ m) => m !== n), `take out ${options.title(item, n)}`);
          options.redraw();
        } }))),
      button({ icon: "plus", text: options.add, run: () => {
        this.set(path, [...(this.get(path) ?? []), options.fresh()], options.add.toLowerCase());
        options.redraw();
      } }));
  }
}

/** What the numbers of a tuple are, by the field's name. */
const TUPLES = {
  size: ["width", "height"], player_size: ["width", "height"], lens_shift: ["right", "up"], throw_range: ["least", "most"], wall_m: ["x", "height"],
  photo_px: ["x", "y"], shift_range_x: ["least", "most"], shift_range_y: ["least", "most"], focus_range_m: ["near", "far"],
  rectangle: ["left", "bottom", "width", "height"], across_m: ["from x", "to x"], height_m: ["from", "to"], distance_m: ["from", "to"],
};

/** "lens_shift" as "Lens shift", "light_lm" as "Light": the unit stands in the field. @param {string} key */
export function label(key) {
  const words = key.split("_");
  while (words.length > 1 && UNITS.includes(/** @type {string} */ (words.at(-1)))) words.pop();
  const text = words.join(" ");
  return text[0].toUpperCase() + text.slice(1);
}

/** The schema at a path; numbers stand for the items of a list. @param {any} schema @param {string} path */
function at(schema, path) {
  let here = schema;
  for (const key of path.split(".")) {
    const { kind } = plain(schema, here);
    here = /^\d+$/.test(key) ? kind.items ?? kind.prefixItems?.[Number(key)] : kind.properties?.[key];
    if (!here) throw new Error(`the schema has no ${path}`);
  }
  return here;
}

/** Without references and without "or null". @param {any} schema @param {any} kind @returns {{kind: any, nullable: boolean}} */
function plain(schema, kind) {
  const described = kind.description;
  let nullable = false;
  for (;;) {
    if (kind.$ref) kind = schema.$defs[kind.$ref.split("/").at(-1)];
    else if (kind.anyOf) {
      nullable ||= kind.anyOf.some((/** @type {any} */ one) => one.type === "null");
      kind = kind.anyOf.find((/** @type {any} */ one) => one.type !== "null");
    } else return { kind: described ? { ...kind, description: described } : kind, nullable };
  }
}

/** Numbers as numbers; lengths such as "12 ft 6 in" as they are: the server reads them. @param {string} text @param {boolean} isNumber @param {boolean} nullable */
function read(text, isNumber, nullable) {
  const trimmed = text.trim();
  if (trimmed === "") return isNumber || nullable ? null : "";
  const number = Number(trimmed.replace(",", "."));
  return isNumber && Number.isFinite(number) ? number : trimmed;
}

/** A value as a field shows it. @param {any} value */
export function shown(value) {
  if (value === null || value === undefined) return "";
  return typeof value === "number" ? String(Math.round(value * 1e6) / 1e6) : String(value);
}

/** Up and down keys change a number by a tenth of its size's power of ten; Shift by ten times that. @param {KeyboardEvent} event @param {HTMLInputElement} input @param {any} kind */
function step(event, input, kind) {
  const number = Number(input.value.replace(",", "."));
  if (!["ArrowUp", "ArrowDown"].includes(event.key) || input.value.trim() === "" || !Number.isFinite(number)) return;
  event.preventDefault();
  const size = kind.type === "integer" ? 1 : kind.unit === "degrees" ? 0.5 : Math.abs(number) >= 100 ? 10 : Math.abs(number) >= 10 ? 0.5 : 0.1;
  const next = number + size * (event.shiftKey ? 10 : 1) * (event.key === "ArrowUp" ? 1 : -1);
  input.value = String(Math.round(next * 1e4) / 1e4);
  input.dispatchEvent(new Event("change"));
}
