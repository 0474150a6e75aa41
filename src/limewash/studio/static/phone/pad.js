// @ts-check
/** A track pad: sliding moves, a short touch taps; the right quarter is slow. */

const TAP_MS = 220;
const TAP_PX = 8;
const SLOW_SHARE = 0.76;

/**
 * @param {HTMLElement} pad
 * @param {{move: (dx: number, dy: number, slow: boolean, slide: string) => void, tap: () => void}} does
 */
export function track(pad, does) {
  /** @type {{id: number, x: number, y: number, far: number, since: number, slow: boolean} | null} */
  let held = null;
  pad.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    if (held) { // a second finger or a palm: neither is a tap
      held.far = Infinity;
      return;
    }
    pad.setPointerCapture(event.pointerId);
    const box = pad.getBoundingClientRect();
    held = { id: event.pointerId, x: event.clientX, y: event.clientY, far: 0, since: event.timeStamp, slow: (event.clientX - box.left) / box.width > SLOW_SHARE };
  });
  pad.addEventListener("pointermove", (event) => {
    if (!held || event.pointerId !== held.id) return;
    const [dx, dy] = [event.clientX - held.x, event.clientY - held.y];
    if (!dx && !dy) return;
    held.x = event.clientX;
    held.y = event.clientY;
    held.far += Math.hypot(dx, dy);
    // A quick hand goes far, a slow one finely.
    const gain = 1 + Math.min(Math.hypot(dx, dy) / 12, 3);
    if (held.far > TAP_PX) does.move(dx * gain, dy * gain, held.slow, String(held.since));
  });
  const end = (/** @type {PointerEvent} */ event) => {
    if (!held || event.pointerId !== held.id) return;
    if (held.far <= TAP_PX && event.timeStamp - held.since < TAP_MS) does.tap();
    held = null;
  };
  pad.addEventListener("pointerup", end);
  pad.addEventListener("pointercancel", () => { held = null; });
}
