/** Run in a page by access.py: what can be used there, where the focus is, how text and controls stand out. */
window.access = {
  /** The page's controls as they were when a walk began. */
  order: [],

  shown: (e) => e.checkVisibility({ checkVisibilityCSS: true }) && e.getClientRects().length > 0,

  /** Everything that a mouse can work. */
  controls() {
    const all = document.querySelectorAll(
      "a[href], button, input:not([type=hidden]), select, textarea, summary, video[controls], [tabindex]",
    );
    return [...all].filter((e) => this.shown(e) && !e.matches(":disabled, main") && !e.closest("[inert]"));
  },

  /** The group of a control that has a single stop of Tab. */
  group: (e) => (e.matches(".drawn-row") ? e.closest(".drawn") : e.closest("[role=toolbar], [role=radiogroup], [role=tablist]")),

  words(e) {
    const words = e.getAttribute("aria-label") || e.labels?.[0]?.textContent || e.textContent || e.id || e.name;
    return `${e.tagName.toLowerCase()} ${words}`.trim().slice(0, 60);
  },

  /** Tab goes on from where the focus was last, also when that is gone. */
  begin() {
    const start = document.body.insertBefore(document.createElement("span"), document.body.firstChild);
    start.tabIndex = -1;
    start.focus();
    start.remove();
    this.order = this.controls();
  },

  /** What has the focus, and how that is seen. */
  stop() {
    const e = document.activeElement;
    if (!e || e === document.body) return null;
    const seen = e.matches("input.unseen") ? e.closest("label") : e; // a file is chosen at its label
    const style = getComputedStyle(seen);
    const box = seen.getBoundingClientRect();
    return {
      number: this.order.indexOf(e), words: this.words(e),
      inside: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth,
      style: style.outlineStyle, width: parseFloat(style.outlineWidth), cut: this.cutSides(seen, box, style),
      ring: this.colour(style.outlineColor).slice(0, 3), ground: this.ground(seen, parseFloat(style.outlineOffset) < 0),
    };
  },

  /** On how many sides the ring is cut off by what holds the element. */
  cutSides(e, box, style) {
    const out = parseFloat(style.outlineOffset) + parseFloat(style.outlineWidth);
    const [left, top, right, bottom] = [box.left - out, box.top - out, box.right + out, box.bottom + out];
    const cut = new Set();
    for (let at = e.parentElement; at && at !== document.documentElement; at = at.parentElement) {
      if (getComputedStyle(at).overflow === "visible") continue;
      const clip = at.getBoundingClientRect();
      if (left < clip.left - 0.6) cut.add("left");
      if (top < clip.top - 0.6) cut.add("top");
      if (right > clip.right + 0.6) cut.add("right");
      if (bottom > clip.bottom + 0.6) cut.add("bottom");
    }
    return cut.size;
  },

  /** Controls that Tab did not come to, each with the stop of its group, or -1. */
  leftOut(reached) {
    const left = [];
    this.order.forEach((e, number) => {
      if (reached.includes(number)) return;
      const group = this.group(e);
      const entry = group && e.tabIndex < 0
        ? this.order.findIndex((one, m) => reached.includes(m) && this.group(one) === group && one.tabIndex === 0) : -1;
      left.push([number, this.words(e), entry]);
    });
    return left;
  },

  /** What must be scrolled sideways to be seen, but for what is meant to. */
  sideways(meant) {
    const scrolls = (e) => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX !== "visible";
    return [...document.querySelectorAll("#page, #page *")].filter((e) => scrolls(e) && !e.matches(`${meant}, .unseen`)
      && getComputedStyle(e).textOverflow !== "ellipsis").map((e) => `${e.tagName} ${e.className}`);
  },

  /** Any CSS colour as [r, g, b, alpha]. */
  colour(text) {
    this.sheet ??= new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
    this.sheet.clearRect(0, 0, 1, 1);
    this.sheet.fillStyle = text;
    this.sheet.fillRect(0, 0, 1, 1);
    const [r, g, b, a] = this.sheet.getImageData(0, 0, 1, 1).data;
    return [r, g, b, a / 255];
  },

  over: (top, under) => [0, 1, 2].map((k) => top[k] * top[3] + under[k] * (1 - top[3])).concat(1),

  /** What lies behind an element's words, or around its box; null where that is a picture. */
  ground(e, own = true) {
    const chain = [];
    for (let at = own ? e : e.parentElement; at; at = at.parentElement) chain.unshift(at);
    let here = [255, 255, 255, 1];
    for (const at of chain) {
      const style = getComputedStyle(at);
      if (style.backgroundImage !== "none") return null;
      here = this.over(this.colour(style.backgroundColor), here);
    }
    return here;
  },

  /** Every piece of text that is seen, with its colour and its ground. */
  texts() {
    const found = [];
    const put = (words, e, style) => {
      const ground = this.ground(e);
      if (!ground || !words.trim()) return;
      found.push({
        words: words.trim().slice(0, 50), colour: this.over(this.colour(style.color), ground), ground,
        size: parseFloat(style.fontSize), weight: Number(style.fontWeight), at: e.className || e.id,
      });
    };
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
      const e = walker.currentNode.parentElement;
      if (!this.shown(e) || e.closest(".unseen, svg, option, textarea, [aria-disabled=true], :disabled")) continue;
      const style = getComputedStyle(e);
      if (style.opacity !== "0") put(walker.currentNode.textContent, e, style);
    }
    for (const e of document.querySelectorAll("textarea, select, input:not([type=range], [type=checkbox], [type=file])")) {
      if (!this.shown(e) || e.matches(":disabled")) continue;
      put(e.value, e, getComputedStyle(e));
      put(e.placeholder ?? "", e, getComputedStyle(e, "::placeholder"));
    }
    return found;
  },

  /** What shows where a control is: the border of a field, the sign of a button without words. */
  bounds() {
    const found = [];
    for (const e of this.controls()) {
      const [around, own, style] = [this.ground(e, false), this.ground(e), getComputedStyle(e)];
      if (!around || !own || e.matches("[aria-disabled=true]")) continue;
      const put = (colour, ground) => found.push({ words: this.words(e), colour: this.over(this.colour(colour), ground), ground });
      const isField = e.matches("textarea, select, input:not([type=range], [type=checkbox], [type=radio], [type=file])");
      if (isField && parseFloat(style.borderTopWidth) > 0) put(style.borderTopColor, around);
      const sign = e.matches("button, a") && !e.textContent.trim() ? e.querySelector("svg.icon") : null;
      if (sign) put(getComputedStyle(sign).stroke, own);
    }
    return found;
  },
};
