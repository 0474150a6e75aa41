// @ts-check
/** Opens the projector page, on the second display where the browser can place windows. @param {Function} say */
export async function openProjectorPage(say) {
  const place = await secondDisplay();
  const features = place
    ? `popup,left=${place.availLeft},top=${place.availTop},width=${place.availWidth},height=${place.availHeight}`
    : "popup,width=960,height=540";
  const opened = window.open("/projector", "limewash-projector", features);
  if (!opened) say("The browser blocked the projector page; allow windows from this address.", "care");
  else if (!place) say("Move the new window to the projector's display and press F on it.");
}

/** The display beside this one, or null. @returns {Promise<any>} */
async function secondDisplay() {
  const any = /** @type {any} */ (window);
  if (!any.getScreenDetails || !any.screen.isExtended) return null;
  try {
    const details = await any.getScreenDetails();
    return details.screens.find((/** @type {any} */ one) => one !== details.currentScreen) ?? null;
  } catch {
    return null; // not allowed: the person moves the window
  }
}
