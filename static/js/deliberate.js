// One press, one line: a key held down is one press, and a foot switch that types Page Down presses the button at hand.
// On the page of the signature nothing is at hand, so no such key signs.
"use strict";
(() => {
  const presses = ["Enter", " ", "PageDown"];

  function key(event) {
    if (!presses.includes(event.key) || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.repeat) {
      if (!event.target.matches?.("textarea")) { event.preventDefault(); event.stopImmediatePropagation(); }
      return;
    }
    if (event.key !== "PageDown") return;
    const done = document.querySelector("[data-done]");
    if (!done) return;
    event.preventDefault();
    done.click();
  }

  window.addEventListener("keydown", key, true); // before anything that holds keys while a save is on its way
})();
