// Counts down to what is due at the bench by the server's clock, in the page and in the title bar, and sounds when it
// is. The device's own clock is not asked: time since the server's last answer is measured, not read off a clock.
"use strict";
(() => {
  const SECOND = 1000, MINUTE = 60 * SECOND, EVERY = 20 * SECOND, MOST_BEEPS = 10;
  let skew = null;          // server time less time since this page began
  let timers = [];          // {code, words, due} of every open session, soonest first
  let asked = 0, heard = 0; // answers may overtake each other; only the newest counts
  let told = null, title = document.title, audio = null, lost = false, drift = 0;
  const sounded = new Map(); // timer -> how often it has sounded

  const now = () => performance.now() + skew;
  const sync = (iso) => { skew = Date.parse(iso) - performance.now(); drift = Date.now() - performance.now(); };
  const remembered = () => { try { return localStorage.getItem("sound") === "on"; } catch { return false; } };

  function span(ms) {
    const whole = Math.floor(Math.abs(ms) / SECOND), two = (n) => String(n).padStart(2, "0");
    const hours = Math.floor(whole / 3600), minutes = Math.floor(whole / 60) % 60;
    return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
  }

  function tick() {
    if (skew === null) return;
    if (Math.abs(Date.now() - performance.now() - drift) > 2 * SECOND) look(); // the device slept, or its clock was set
    for (const place of document.querySelectorAll("[data-due]")) {
      const left = Date.parse(place.dataset.due) - now(), readout = place.querySelector(".countdown");
      readout.hidden = false;
      readout.toggleAttribute("data-late", left < 0);
      readout.textContent = left < 0 ? `late ${span(left)}` : span(left);
    }
    if (document.title !== told) title = document.title; // a partial update may have named the page anew
    const next = timers[0];
    const left = next ? Date.parse(next.due) - now() : 0;
    const words = next ? `${left < 0 ? "LATE " : ""}${span(left)} ${next.code} ${next.words} · ${title}` : title;
    if (document.title !== words) document.title = words;
    told = document.title;
    timers.forEach(sound);
  }

  // --- Asking the server --------------------------------------------------------------------------

  async function look() {
    drift = Date.now() - performance.now();
    const number = ++asked;
    try {
      const answer = await fetch("/timers", { headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const found = await answer.json();
      if (number < heard) return;
      heard = number;
      sync(found.now);
      timers = found.timers;
      for (const place of document.querySelectorAll("[data-mark]")) {
        const passed = [...place.querySelectorAll("[data-due]")].some(
          (p) => Date.parse(p.dataset.due) + MINUTE < now() && !p.querySelector(".late"));
        if (!sending && (place.dataset.mark !== found.mark || passed)) place.dispatchEvent(new CustomEvent("stale"));
      }
      say(false);
    } catch {
      say(true);
    }
    tick();
  }

  function say(isLost) {
    if (isLost === lost) return;
    lost = isLost;
    document.querySelectorAll(".lost").forEach((old) => old.remove());
    const place = document.getElementById("watch") ?? document.getElementById("running");
    if (!lost || !place) return;
    const words = document.createElement("p");
    words.className = "lost";
    words.setAttribute("role", "alert");
    words.textContent = "Grainbook does not answer. The times go on from its last answer; start it again, and nothing saved is lost.";
    place.before(words);
  }

  // --- Sound ----------------------------------------------------------------------------------------

  const key = (timer) => `${timer.code} ${timer.words} ${timer.due}`;

  function sound(timer) {
    const late = now() - Date.parse(timer.due);
    if (late < 0) return;
    const times = Math.floor(late / MINUTE) + 1, before = sounded.get(key(timer)) ?? 0;
    if (times <= before) return;
    sounded.set(key(timer), times);
    if (audio?.state === "running" && times <= MOST_BEEPS) beep();
    if (before === 0) look();
  }

  function beep() {
    for (const start of [0, .25, .5]) {
      const tone = audio.createOscillator(), loudness = audio.createGain(), at = audio.currentTime + start;
      tone.frequency.value = 880;
      loudness.gain.setValueAtTime(.4, at);
      loudness.gain.exponentialRampToValueAtTime(.001, at + .18);
      tone.connect(loudness).connect(audio.destination);
      tone.start(at);
      tone.stop(at + .2);
    }
  }

  function show() {
    const button = document.getElementById("sound");
    if (!button) return;
    const wanted = remembered(), awake = audio?.state === "running";
    button.hidden = false;
    button.setAttribute("aria-pressed", String(wanted));
    button.textContent = !wanted ? "Sound is off" : awake ? "Sound is on" : "Sound: tap to wake it";
  }

  async function wake() {
    audio ??= new AudioContext();
    await audio.resume();
    show();
  }

  document.addEventListener("click", async (event) => {
    if (!event.target.closest?.("#sound")) return;
    const turnOn = !remembered() || audio?.state !== "running";
    try { localStorage.setItem("sound", turnOn ? "on" : "off"); } catch { /* a private window forgets it */ }
    if (turnOn) { await wake(); beep(); } else { await audio.suspend(); show(); }
  });
  // A page that was reloaded may sound again from the first touch or key on.
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, (event) => {
    if (remembered() && audio?.state !== "running" && !event.target.closest?.("#sound")) wake();
  });

  // What a person sends goes before what the page fetches by itself: a renewal in between would take the button away
  // under the finger, and with it the answer.
  let sending = 0;
  const isSent = (event) => (event.detail?.ctx?.request?.method ?? "GET").toUpperCase() !== "GET";
  document.addEventListener("htmx:before:request", (event) => { if (isSent(event)) sending += 1; });
  document.addEventListener("htmx:finally:request", (event) => { if (isSent(event)) sending = Math.max(sending - 1, 0); });
  document.addEventListener("htmx:before:swap", (event) => { if (sending && !isSent(event)) event.preventDefault(); });

  // --- When to look ---------------------------------------------------------------------------------

  let held = ""; // the form whose button had the focus before a partial update took it away
  document.addEventListener("focusin", (event) => { held = event.target.closest?.("#watch form")?.id ?? ""; });
  document.addEventListener("htmx:after:swap", () => {
    if (held && (!document.activeElement || document.activeElement === document.body)) {
      document.querySelector(`#watch form[id="${held}"] button`)?.focus({ preventScroll: true });
    }
    look();
  });
  document.addEventListener("DOMContentLoaded", () => {
    const first = document.querySelector("[data-now]");
    if (first) sync(first.dataset.now);
    const concerned = document.body.classList.contains("bench") || document.querySelector("[data-mark]");
    if (!concerned) return;
    show();
    look();
    setInterval(tick, SECOND);
    setInterval(look, EVERY);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
    for (const kind of ["pageshow", "focus", "online"]) addEventListener(kind, look);
  });
})();
