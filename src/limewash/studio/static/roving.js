// @ts-check
/** Groups of like controls: one stop of the Tab key for the whole group, arrow keys from one to the next within it. */

const ONWARD = ["ArrowDown", "ArrowRight"];
const BACK = ["ArrowUp", "ArrowLeft"];
const CHOSEN = '[aria-checked="true"], [aria-selected="true"], [aria-pressed="true"]';

/**
 * Make a group of controls one stop. What is added to it or taken out later counts as well; the stop is the control that
 * had the focus last, else the one that is chosen, else the first.
 * @template {HTMLElement} T
 * @param {T} group @param {string} [controls] selector of its controls
 * @returns {T}
 */
export function roving(group, controls = "button") {
  /** @type {HTMLElement | null} */
  let stop = null;
  const members = () => /** @type {HTMLElement[]} */ ([...group.querySelectorAll(controls)]).filter((one) => !one.matches(":disabled, [hidden]"));
  const settle = () => {
    const all = members();
    if (!stop || !all.includes(stop)) stop = all.find((one) => one.matches(CHOSEN)) ?? all[0] ?? null;
    for (const one of all) one.tabIndex = one === stop ? 0 : -1;
  };
  group.addEventListener("focusin", (event) => {
    const within = members().find((one) => one === event.target);
    if (within) stop = within;
    settle();
  });
  group.addEventListener("focusout", (event) => {
    // Coming back, the group is entered at what is chosen.
    if (!(event.relatedTarget instanceof Node && group.contains(event.relatedTarget))) stop = null;
    settle();
  });
  group.addEventListener("keydown", (event) => {
    const to = target(event, members());
    if (!to) return;
    event.preventDefault();
    to.focus();
  });
  new MutationObserver(settle).observe(group, {
    childList: true, subtree: true, attributeFilter: ["disabled", "hidden", "aria-checked", "aria-selected", "aria-pressed"],
  });
  settle();
  return group;
}

/** Where a key leads from the control that has the focus. @param {KeyboardEvent} event @param {HTMLElement[]} all */
function target(event, all) {
  const at = all.indexOf(/** @type {HTMLElement} */ (document.activeElement));
  if (at < 0 || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return null;
  if (event.key === "Home") return all[0];
  if (event.key === "End") return all[all.length - 1];
  const step = ONWARD.includes(event.key) ? 1 : BACK.includes(event.key) ? -1 : 0;
  return step ? all[(at + step + all.length) % all.length] : null;
}
