// @ts-check
/** @param {HTMLElement} root */
export async function mount(root) {
  root.textContent = "";
}
