// Keeps the screen awake on a page of an open session, where the browser allows it, and says where it cannot.
"use strict";
(() => {
  let lock = null, line = "";

  const show = () => {
    const place = document.getElementById("awake");
    if (place && place.textContent !== line) place.textContent = line;
  };
  const say = (words) => { line = words; show(); };

  async function hold() {
    if (!document.getElementById("awake")) return;
    if (!isSecureContext) return say("The screen may go dark: without encryption (--lan-plain) a browser keeps none awake. Let the device’s own screen time be longer.");
    if (!navigator.wakeLock) return say("The screen may go dark: this browser keeps none awake. Let the device’s own screen time be longer.");
    if (document.hidden || (lock && !lock.released)) return;
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => { if (!document.hidden) say("The screen may go dark: the device took it back. A touch keeps it awake again."); });
      say("The screen stays awake on this page.");
    } catch {
      say("The screen may go dark: the device allows no page to keep it awake now, perhaps to save its battery.");
    }
  }

  document.addEventListener("DOMContentLoaded", hold);
  document.addEventListener("visibilitychange", hold); // a page that was hidden has lost it
  document.addEventListener("pointerdown", hold);
  document.addEventListener("htmx:after:swap", show);
})();
