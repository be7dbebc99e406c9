// Before the page is drawn: the theme that was pinned, else the device's.
(() => {
  "use strict";
  const kept = (() => {
    try {
      return localStorage.getItem("tapehook-theme");
    } catch {
      return null;
    }
  })();
  if (kept === "paper" || kept === "dim") document.documentElement.dataset.theme = kept;
})();
