// Reads the step as it changes and the last minute of what is due, and a pan that is too hot, by a voice that the device
// has itself: with one of the network's, what is read would leave it. Off until it is chosen; the device remembers.
"use strict";
(() => {
  const MARKS = [[0, "Now"], [10, "10 seconds"], [30, "30 seconds"], [60, "One minute"]];
  const reached = new Map(); // timer -> the mark that was read last, in s
  let step = null, warned = "";

  const remembered = () => { try { return localStorage.getItem("voice") === "on"; } catch { return false; } };
  const voices = () => (window.speechSynthesis?.getVoices() ?? []).filter((voice) => voice.localService === true);
  const own = () => voices().find((voice) => voice.lang.startsWith("en")) ?? voices()[0];

  function read(words, urgent = false) {
    const voice = own();
    if (!voice || !remembered() || !words) return;
    if (urgent) speechSynthesis.cancel();
    const said = new SpeechSynthesisUtterance(words);
    said.voice = voice;
    said.lang = voice.lang;
    speechSynthesis.speak(said);
  }

  const texts = (selector) => [...document.querySelectorAll(selector)].filter((e) => e.checkVisibility())
    .map((e) => e.textContent.replace(/\s+/g, " ").trim());
  // A countdown in the step is no part of it: it would change each second.
  const now = () => document.getElementById("bench")
    ? [...texts("#bench .front h2"), ...texts("#bench .front .largest:not(:has(.countdown))")].join(". ")
    : texts("#watch [aria-current=step] > p:first-child").join(". ");

  function tick(event) {
    const { timers, hot, time } = event.detail;
    const words = now(), hottest = hot.map((pan) => `${pan.code}. ${pan.words}`).join(" ");
    if (hottest && hottest !== warned) read(`Too hot. ${hottest}`, true);
    warned = hottest;
    if (words && step !== null && words !== step && !hottest) read(words);
    if (words || step === null) step = words;
    for (const timer of timers) {
      const left = (Date.parse(timer.due) - time) / 1000, key = `${timer.code} ${timer.words} ${timer.due}`;
      const mark = MARKS.find(([seconds]) => left <= seconds);
      const before = reached.get(key);
      if (!mark) continue;
      reached.set(key, mark[0]);
      // what is reached long ago, as on a page just opened, is no countdown any more
      if ((before === undefined || mark[0] < before) && left > mark[0] - 3) read(`${mark[1]}. ${timer.code}. ${timer.words}`);
    }
  }

  function show() {
    const button = document.getElementById("voice"), line = document.getElementById("voiceless");
    if (!button) return;
    const can = Boolean(own()), on = can && remembered();
    button.hidden = !can;
    button.setAttribute("aria-pressed", String(on));
    button.textContent = on ? "Voice is on" : "Voice is off";
    if (line) line.textContent = can ? "" : "No voice reads here: this device has none of its own that works offline.";
  }

  document.addEventListener("click", (event) => {
    if (!event.target.closest?.("#voice")) return;
    const on = !remembered();
    try { localStorage.setItem("voice", on ? "on" : "off"); } catch { /* a private window forgets it */ }
    show();
    if (on) read(now() || "The voice is on.");
    else window.speechSynthesis?.cancel();
  });
  document.addEventListener("ticked", tick);
  document.addEventListener("DOMContentLoaded", show);
  document.addEventListener("htmx:after:swap", show);
  window.speechSynthesis?.addEventListener?.("voiceschanged", show);
})();
