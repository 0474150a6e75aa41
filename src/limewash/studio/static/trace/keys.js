// @ts-check
/** What the keys do on the trace page. */
import { TOOLS } from "./icons.js";
import { addCorner, nextCorner, nextHandle } from "./in_hand.js";
import { KINDS } from "./store.js";

/** @param {import("./desk.js").Desk} desk */
export function traceKeys(desk) {
  const hand = "In hand";
  const arrows = /** @type {const} */ ([["Left", -1, 0], ["Up", 0, -1], ["Right", 1, 0], ["Down", 0, 1]]).flatMap(([name, dx, dy]) =>
    /** @type {const} */ ([["", 1, "one step"], ["Shift+", 10, "ten steps"], ["Alt+", 0.25, "a quarter step"]]).map(([held, times, words]) => ({
      keys: `${held}Arrow${name}`, what: `Nudge by ${words}; with a tool: move the cross-hair`, group: hand, held: true,
      run: () => {
        if (desk.pointer.takesArrows) desk.pointer.move([dx, dy], times);
        else if (!desk.nudgeStep([dx, dy], times)) desk.board.pan([-dx * 60, -dy * 60]);
      },
    })));
  const kinds = KINDS.map(([kind, words], n) => ({ keys: String((n + 1) % 10), what: words, group: "Kinds", run: () => desk.setKind(kind) }));
  const tools = TOOLS.map(([name, , words, key]) => ({ keys: key, what: words, group: "Tools", run: () => { desk.setTool(name); desk.board.focus({ preventScroll: true }); } }));
  return [
    ...tools, ...kinds, ...arrows,
    { keys: "Space", what: "Click with the cross-hair; held: move the photo with the mouse", group: "Tools", run: () => desk.board.spaceDown() },
    { keys: "Shift+Enter", what: "Close what is being drawn", group: "Tools", run: () => desk.tool.close() },
    { keys: "Enter", what: "End what is being drawn; accept what was found", group: "Tools", run: () => (desk.proposals.open && !desk.tool.busy ? desk.proposals.accept() : desk.tool.end()) },
    { keys: "Escape", what: "Stop; let go", group: "Tools", run: () => stop(desk) },
    { keys: "Backspace, Delete", what: "Take the last point back; take out what is in hand", group: "Tools", run: () => takeOut(desk) },
    { keys: "S", what: "Settle on the photo's edges; with nothing in hand, all", group: hand, run: () => desk.settle() },
    { keys: "K", what: "Lock or unlock", group: hand, run: () => desk.lock() },
    { keys: "N", what: "Next corner", group: hand, run: () => nextCorner(desk, 1) },
    { keys: "Shift+N", what: "Previous corner", group: hand, run: () => nextCorner(desk, -1) },
    { keys: "I", what: "A corner more, after the one in hand", group: hand, run: () => addCorner(desk) },
    { keys: "V", what: "Next handle of a curve", group: hand, run: () => nextHandle(desk) },
    { keys: "Ctrl+A", what: "Take all in hand", group: hand, run: () => desk.select(desk.store.paths.map((path) => path.id)) },
    { keys: "J", what: "Find windows and doors; the next one found", group: "Tools", run: () => (desk.proposals.open ? desk.proposals.next() : desk.proposals.find()) },
    { keys: "X", what: "Refuse or keep all that was found", group: "Tools", run: () => desk.proposals.open && desk.proposals.toggleAll() },
    { keys: "P", what: "Show the tracing on the house", group: "View", run: () => desk.preview.toggle() },
    { keys: "F", what: "The whole photo", group: "View", run: () => desk.board.fit() },
    { keys: "Shift+F", what: "What is in hand, close up", group: "View", run: () => desk.look([...desk.selected]) },
    { keys: "+, =", what: "Closer", group: "View", held: true, run: () => desk.board.zoom(1.5) },
    { keys: "-", what: "Farther", group: "View", held: true, run: () => desk.board.zoom(1 / 1.5) },
    { keys: "D", what: "Night photo, daylight photo", group: "View", run: () => desk.strip.otherPhoto() },
    { keys: "Z", what: "Loupe", group: "View", run: () => { desk.loupe = !desk.loupe; desk.refresh(); } },
    { keys: "G", what: "Catch corners, lines, level and plumb", group: "View", run: () => { desk.catches = !desk.catches; desk.refresh(); } },
    { keys: "Shift+S", what: "Settle what is drawn by itself", group: "View", run: () => { desk.settles = !desk.settles; desk.refresh(); } },
  ];
}

/** @param {import("./desk.js").Desk} desk */
function stop(desk) {
  if (desk.settling.busy) desk.settling.stop();
  else if (!desk.tool.stop()) {
    if (desk.selected.size) desk.select([]);
    else if (desk.proposals.open) desk.proposals.close();
    else desk.setTool("pick");
  }
  desk.refresh();
}

/** @param {import("./desk.js").Desk} desk */
function takeOut(desk) {
  if (desk.proposals.open && desk.proposals.now) desk.proposals.toggle(desk.proposals.now);
  else if (!desk.tool.back()) desk.removeInHand();
  desk.refresh();
}
