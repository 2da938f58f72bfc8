// Hands full: Enter, space and Page Down (a foot switch, a presenter) do the step in front where no text field has the
// focus. A key that is held, and a second press right after the step changed, settle nothing. The page renews itself
// when time alone brings the next act to the front, and its clock on the wall goes on.
"use strict";
(() => {
  const GUARD = 700; // ms after the front changed in which nothing is settled: a glove bounces, a key is held
  const KEYS = ["Enter", " ", "PageDown"];
  let since = -GUARD, renewal = 0, front = "";

  const bench = () => document.getElementById("bench");
  const button = () => bench()?.querySelector("[data-do]");
  const guarded = () => performance.now() - since < GUARD;
  const folded = () => Boolean(bench()?.querySelector(".foot > details[open]"));

  function stands() {
    const place = bench();
    if (!place) return;
    if (place.dataset.front !== front) {
      const before = front;
      front = place.dataset.front;
      if (before) since = performance.now();
    }
    if (guarded()) hold();
    clearTimeout(renewal);
    if (place.dataset.renewIn) renewal = setTimeout(stale, Number(place.dataset.renewIn) * 1000);
  }

  function hold() {
    const pressed = button(); // another save may have drawn it anew meanwhile
    pressed?.setAttribute("aria-disabled", "true");
    setTimeout(() => pressed?.removeAttribute("aria-disabled"), since + GUARD - performance.now());
  }

  function stale() {
    bench()?.dispatchEvent(new CustomEvent("stale"));
  }

  function key(event) {
    if (!KEYS.includes(event.key) || event.ctrlKey || event.metaKey || event.altKey || !bench()) return;
    const target = event.target, typing = target.matches?.("input, textarea, select");
    if (typing && (event.key !== "Enter" || !event.repeat)) return;
    if (event.repeat) { event.preventDefault(); return; }
    const own = target.closest?.("a, button, summary");
    if (own && event.key !== "PageDown") return; // it is pressed by its own key
    const pressed = button();
    if (!pressed || folded()) return;
    event.preventDefault();
    if (!guarded()) pressed.click();
  }

  // What is being typed is not taken away by an act that comes due meanwhile: it stands beside, loudly.
  function asks(event) {
    const ctx = event.detail.ctx, now = document.activeElement;
    if (ctx.sourceElement !== bench() || !now?.matches("#bench .front input, #bench .front textarea") || now.value === now.defaultValue) return;
    const url = new URL(ctx.request.action, location.href);
    url.searchParams.set("show", front);
    ctx.request.action = url.pathname + url.search;
  }

  document.addEventListener("keydown", key, true);
  document.addEventListener("submit", (event) => {
    if (event.target.closest?.("#bench") && guarded() && event.submitter?.matches("[data-do]")) {
      event.preventDefault();
      event.stopImmediatePropagation();
    }
  }, true);
  document.addEventListener("htmx:config:request", asks);
  document.addEventListener("htmx:after:swap", stands);
  document.addEventListener("DOMContentLoaded", stands);
  setInterval(() => {
    const wall = document.querySelector("[data-wall]");
    if (!wall) return;
    wall.began ??= performance.now();
    const [hours, minutes, seconds] = wall.dataset.wall.split(":").map(Number);
    const at = Math.floor((hours * 60 + minutes) * 60 + (seconds || 0) + (performance.now() - wall.began) / 1000) % 86400;
    wall.textContent = [Math.floor(at / 3600), Math.floor(at / 60) % 60].map((n) => String(n).padStart(2, "0")).join(":");
  }, 1000);
})();
