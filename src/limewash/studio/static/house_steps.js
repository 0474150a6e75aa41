// @ts-check
/** Undo and redo on pages that draw nothing of their own: the project's settings, such as which scan is in use. */

/** @param {any} studio */
export async function houseSteps(studio) {
  let revision = -1;
  /** @param {any} state */
  const take = (state) => {
    if (state.revision < revision) return;
    revision = state.revision;
    studio.steps.set({ undo: state.can_undo, redo: state.can_redo });
  };
  const read = async () => take(await studio.api.get("/api/house"));
  const travel = async (/** @type {"undo" | "redo"} */ way) => {
    try {
      take(await studio.api.post(`/api/house/${way}`, { revision }));
    } catch (error) {
      studio.say(/** @type {Error} */ (error).message, "care");
      await read();
    }
  };
  studio.steps.set({ onUndo: () => travel("undo"), onRedo: () => travel("redo") });
  studio.live.on("house", (/** @type {any} */ message) => take(message.state));
  studio.live.on("again", read);
  await read();
}
