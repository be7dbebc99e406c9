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
  const root = document.documentElement;
  if (kept === "paper" || kept === "dim") root.dataset.theme = kept;
  else if (/\/(onset|stop-pull-card)$/.test(location.pathname)) {
    // Dim until somebody pins another: on set a bright screen lights the face of whoever looks at it.
    root.dataset.theme = "dim";
    root.dataset.unpinned = "yes";
  }
})();
