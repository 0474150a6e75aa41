// Before anything is painted: the theme and the brightness that were chosen last, so that nothing flashes in the dark.
(() => {
  const root = document.documentElement;
  root.dataset.theme = localStorage.getItem("limewash.theme") ?? "night";
  root.style.setProperty("--dim", localStorage.getItem("limewash.dim") ?? "1");
})();
