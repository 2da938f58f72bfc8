// Counts down to what is due at the bench by the server's clock, in the page and in the title bar, and sounds when it
// is. The device's own clock is not asked: time since the server's last answer is measured, not read off a clock.
"use strict";
(() => {
  const SECOND = 1000, MINUTE = 60 * SECOND, EVERY = 20 * SECOND, MOST_BEEPS = 10;
  let skew = null;          // server time less time since this page began
  let timers = [];          // {code, words, due} of every open session, soonest first
  let hot = [];             // {code, words, href} of every pan that is or may be too hot
  let asked = 0, heard = 0; // answers may overtake each other; only the newest counts
  let own = "", told = null, audio = null, lost = false, drift = 0;
  const sounded = new Map(); // timer or hot pan -> how often it has sounded
  const since = new Map();   // hot pan -> when this page was first told of it

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
    name();
    timers.forEach((timer) => {
      if (Date.parse(timer.due) < now()) tell(timer);
      sound(key(timer), Date.parse(timer.due));
    });
    hot.forEach((pan) => sound(pan.words, since.get(pan.words)));
    document.dispatchEvent(new CustomEvent("ticked", { detail: { timers, hot, time: now() } }));
  }

  // The title names what is most urgent: too hot, then late, then what is due next.
  function name() {
    if (document.title !== told) own = document.title.replace(/^TOO HOT [^·]*· /, ""); // the page, or a part of it, came anew
    const next = timers[0], left = next ? Date.parse(next.due) - now() : 0;
    const first = hot.length ? `TOO HOT ${hot[0].code}` : next ? `${left < 0 ? "LATE " : ""}${span(left)} ${next.code} ${next.words}` : "";
    const words = first ? `${first} · ${own}` : own;
    if (document.title !== words) document.title = words;
    told = document.title;
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
      hot = found.hot;
      warn();
      for (const place of document.querySelectorAll("[data-mark]")) {
        const passed = [...place.querySelectorAll("[data-due]")].some(
          (p) => Date.parse(p.dataset.due) + MINUTE < now() && !p.querySelector(".late"));
        if (!sending && (place.dataset.mark !== found.mark || passed)) place.dispatchEvent(new CustomEvent("stale"));
      }
      say(false);
    } catch {
      setTimeout(() => { if (number > heard) say(true); }, SECOND); // a page that is just left is no lost server
    }
    tick();
  }

  // --- Said ------------------------------------------------------------------------------------------

  // What is said stands in places that are never replaced, and only new words are put there: heard once.
  function say(isLost) {
    if (isLost === lost) return;
    lost = isLost;
    document.getElementById("lost").textContent = !lost ? ""
      : "Grainbook does not answer. The times go on from its last answer; start it again, and nothing saved is lost.";
  }

  function warn() {
    const place = document.getElementById("hot"), stands = [...place.querySelectorAll("strong")].map((loud) => loud.textContent);
    const words = hot.map((pan) => `${pan.code}: ${pan.words}`);
    for (const pan of hot) if (!since.has(pan.words)) since.set(pan.words, now());
    if (stands.join() === words.join()) return;
    place.replaceChildren(...hot.map((pan, i) => {
      const line = document.createElement("p"), loud = document.createElement("strong"), link = document.createElement("a");
      loud.textContent = words[i];
      link.href = pan.href;
      link.textContent = "To the pan";
      line.append(loud, " ", link);
      return line;
    }));
  }

  const saidBefore = () => { try { return JSON.parse(sessionStorage.getItem("said")) ?? []; } catch { return []; } };
  let said = saidBefore(); // lateness that this tab has told already, on this page or one before

  function tell(timer) {
    if (said.includes(key(timer))) return;
    said = [...said.slice(-50), key(timer)];
    try { sessionStorage.setItem("said", JSON.stringify(said)); } catch { /* a private window tells it on the next page too */ }
    document.getElementById("told").textContent = `Late, ${timer.code}: ${timer.words}`;
  }

  // --- Sound ----------------------------------------------------------------------------------------

  const key = (timer) => `${timer.code} ${timer.words} ${timer.due}`;

  function sound(what, from) {
    const late = now() - from;
    if (late < 0) return;
    const times = Math.floor(late / MINUTE) + 1, before = sounded.get(what) ?? 0;
    if (times <= before) return;
    sounded.set(what, times);
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
    show();
    look();
  });
  document.addEventListener("DOMContentLoaded", () => {
    const first = document.querySelector("[data-now]");
    if (first) sync(first.dataset.now);
    show();
    look();
    setInterval(tick, SECOND);
    setInterval(look, EVERY);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
    for (const kind of ["pageshow", "focus", "online"]) addEventListener(kind, look);
  });
})();
