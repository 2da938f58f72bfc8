// Light, dark or as the device: kept in this browser only, set before the first paint.
"use strict";
(() => {
  const root = document.documentElement;
  const remembered = () => { try { return localStorage.getItem("theme") ?? ""; } catch { return ""; } };
  const show = (theme) => { if (theme) root.dataset.theme = theme; else delete root.dataset.theme; };

  show(remembered());
  document.addEventListener("DOMContentLoaded", () => {
    const choice = document.getElementById("theme");
    choice.value = remembered();
    choice.parentElement.hidden = false;
    choice.addEventListener("change", () => {
      show(choice.value);
      try { localStorage.setItem("theme", choice.value); } catch { /* a private window forgets it */ }
    });
  });
})();
