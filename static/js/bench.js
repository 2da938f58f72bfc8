// Large number keys beside a field, and a button that prints. Without script the field and the browser's menu do it.
"use strict";
(() => {
  document.documentElement.classList.add("scripted");

  function type(field, key) {
    const wanted = new InputEvent("beforeinput", {
      data: key === "back" ? null : key, inputType: key === "back" ? "deleteContentBackward" : "insertText", bubbles: true, cancelable: true,
    });
    if (!field.dispatchEvent(wanted)) return; // held: a save is on its way
    const from = field.selectionStart ?? field.value.length, to = field.selectionEnd ?? from;
    const start = key === "back" && from === to ? Math.max(from - 1, 0) : from;
    field.setRangeText(key === "back" ? "" : key, start, to, "end");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  document.addEventListener("click", (event) => {
    const key = event.target.closest?.("[data-key]");
    if (key) type(document.getElementById(key.closest("[data-keypad]").dataset.keypad), key.dataset.key);
    if (event.target.closest?.("[data-print]")) print();
  });
  document.addEventListener("DOMContentLoaded", () => {
    document.querySelectorAll("[data-print]").forEach((button) => { button.hidden = false; });
  });
})();
