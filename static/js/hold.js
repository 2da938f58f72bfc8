// While a save is on its way, what is typed waits. A scale, a scanner and a fast hand do not look: their keys would be
// parted between the field that goes and the one that comes. They are held whole, line by line, and typed into the field
// where work goes on once the answer stands; after a refusal they are told, never entered. A second press waits too.
(function () {
  "use strict";

  let flight = null; // {form, field, ctx, stood}: the save on its way, and what stood in its form
  let lines = [];    // {at, text, end}: what was typed meanwhile; `at` is a field that was gone to meanwhile
  let presses = [];  // {action, id, name, value, words}: buttons of other forms pressed meanwhile

  const isText = function (field) {
    return Boolean(field) && field.matches("input[type=text], input[type=search], textarea") && !field.disabled && field.checkVisibility();
  };
  const formOf = function (target) { return target.closest ? target.closest("form") : null; };

  // --- Sending -------------------------------------------------------------------------------------

  function submit(event) {
    const form = event.target, button = event.submitter;
    if (flight) {
      event.preventDefault();
      event.stopImmediatePropagation();
      if (form !== flight.form) presses.push({
        action: form.getAttribute("action"), id: form.id, name: button && button.name, value: button && button.value,
        words: button ? button.textContent.trim() : "",
      });
      return;
    }
    if (!form.hasAttribute("hx-post")) return;
    const mine = flight = { form: form, field: document.activeElement ? document.activeElement.id : "", ctx: null, stood: standing(form) };
    form.setAttribute("aria-busy", "true");
    setTimeout(function () { if (flight === mine && !mine.ctx) land(false); }); // it was not sent after all
  }

  const shown = function (field) { return field.type === "checkbox" || field.type === "radio" ? String(field.checked) : field.value; };

  function standing(form) {
    return new Map(Array.from(form.elements).filter(function (field) { return field.id && field.type !== "hidden"; })
      .map(function (field) { return [field.id, shown(field)]; }));
  }

  // What came into the form that is being saved and could not be held: a word that a keyboard on the glass composes, an
  // entry that was chosen, a tick. It waits like what was held.
  function gather(event) {
    if (!flight || flight.ctx !== event.detail.ctx) return;
    const came = [];
    standing(flight.form).forEach(function (now, id) {
      const before = flight.stood.get(id), field = document.getElementById(id);
      if (before === undefined || now === before || !field) return;
      if (!isText(field)) came.push({ at: id, text: now, end: "", chosen: true });
      else came.push({ at: id === flight.field ? "" : id, text: now.startsWith(before) ? now.slice(before.length) : now, end: "" });
    });
    lines = came.filter(function (one) { return one.chosen || one.text.trim(); }).concat(lines);
  }

  function choose(one) {
    const field = document.getElementById(one.at);
    if (!field || shown(field) === one.text) return;
    if (field.type === "checkbox" || field.type === "radio") field.checked = one.text === "true";
    else if (field.tagName !== "SELECT" || Array.from(field.options).some(function (option) { return option.value === one.text; })) field.value = one.text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  function away(event) {
    const ctx = event.detail.ctx;
    if (flight && !flight.ctx && ctx.sourceElement === flight.form) flight.ctx = ctx;
  }

  function stands(event) {
    const ctx = event.detail.ctx;
    if (flight && flight.ctx === ctx) land(Boolean(ctx.response) && ctx.response.status < 400);
  }

  function failed(event) {
    if (flight && flight.ctx === event.detail.ctx) land(false);
  }

  // --- Holding -------------------------------------------------------------------------------------

  // The hand that went on to another form types and presses there.
  function held(target, presses) {
    if (!flight) return false;
    const form = formOf(target);
    return !form || form === flight.form || !(isText(target) || presses);
  }

  function line(target) {
    const at = isText(target) && target.id !== flight.field ? target.id : "";
    const last = lines[lines.length - 1];
    if (last && !last.end && last.at === at) return last;
    if (last && !last.end) last.end = "Tab";
    lines.push({ at: at, text: "", end: "" });
    return lines[lines.length - 1];
  }

  function key(event) {
    const target = event.target;
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    if (!held(target, ["Enter", "Tab", " "].includes(event.key))) return;
    const now = lines[lines.length - 1], open = now && !now.end && now.text;
    if (event.key.length === 1) line(target).text += event.key;
    else if (event.key === "Enter" && target.tagName === "TEXTAREA") line(target).text += "\n";
    else if (event.key === "Enter") { if (open) now.end = "Enter"; }
    else if (event.key === "Tab") { if (!open) return; now.end = "Tab"; }
    else if (event.key === "Backspace") { if (open) now.text = now.text.slice(0, -1); }
    else return;
    event.preventDefault();
    event.stopPropagation();
    show();
  }

  // Keys of the screen, of the number pad beside a field, and what is pasted.
  function input(event) {
    const target = event.target;
    if (!held(target) || event.isComposing) return;
    const text = event.data || (event.dataTransfer ? event.dataTransfer.getData("text/plain") : "");
    if (event.inputType === "deleteContentBackward") {
      const now = lines[lines.length - 1];
      if (now && !now.end) now.text = now.text.slice(0, -1);
    } else if (text) line(target).text += text;
    event.preventDefault();
    show();
  }

  function words() {
    return lines.map(function (one) { return one.text.trim(); }).filter(Boolean).map(function (text) { return "“" + text + "”"; }).join(", ");
  }

  function show() {
    const place = flight.form.querySelector(".actions") || flight.form;
    let waits = place.querySelector(".waits");
    if (!waits) {
      waits = document.createElement("span");
      waits.className = "waits";
      place.append(waits);
    }
    waits.textContent = words() ? "Being saved; waits: " + words() : "";
  }

  // --- Going on ------------------------------------------------------------------------------------

  function land(well) {
    const over = flight;
    flight = null;
    over.form.removeAttribute("aria-busy");
    over.form.querySelectorAll(".waits").forEach(function (old) { old.remove(); });
    const chosen = lines.filter(function (one) { return one.chosen; });
    lines = lines.filter(function (one) { return !one.chosen && one.text.trim(); });
    chosen.forEach(choose);
    if (!well) { tell(over, "It was not entered: answer this first, then type it again."); return; }
    while (lines.length) {
      const next = lines[0];
      const field = [next.at, "", over.field].map(function (id) { return id ? document.getElementById(id) : document.activeElement; })
        .find(function (found, i) { return (i === 0) === Boolean(next.at) && isText(found); });
      if (!field) { tell(over, "No field was waiting for it, so it was not entered."); return; }
      lines.shift();
      type(field, next.text);
      if (next.end === "Enter" && field.form) { field.form.requestSubmit(); if (flight) return; }
      else if (lines.length && !lines[0].at) { tell(over, "The book cannot tell which field it was meant for, so it was not entered."); return; }
    }
    press(over);
  }

  function type(field, text) {
    field.focus();
    field.setRangeText(text, 0, field.tagName === "TEXTAREA" ? 0 : field.value.length, "end");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  function press(over) {
    const next = presses.shift();
    if (!next) return;
    const form = Array.from(document.forms).find(function (one) { return one.getAttribute("action") === next.action && one.id === next.id; });
    const button = form && Array.from(form.querySelectorAll("button")).find(function (one) { return one.name === (next.name || "") && one.value === (next.value || ""); });
    if (form) form.requestSubmit(button || undefined);
    else tell(over, "", next);
    if (!flight) press(over);
  }

  function tell(over, why, pressed) {
    const typed = words(), unsent = presses.concat(pressed ? [pressed] : []).map(function (one) { return "“" + one.words + "”"; }).join(", ");
    lines = [];
    presses = [];
    if (!typed && !unsent) return;
    const said = document.createElement("p");
    said.className = "refusal unheard";
    said.setAttribute("role", "alert");
    said.textContent = (typed ? "While the save before was on its way you typed " + typed + ". " + why + " " : "")
      + (unsent ? "You pressed " + unsent + " meanwhile; it was not sent. Look at the page, then press again." : "");
    const region = over.ctx && over.ctx.target && over.ctx.target.id ? document.getElementById(over.ctx.target.id) : null;
    const form = document.getElementById(over.form.id);
    if (form && form.checkVisibility()) form.prepend(said);
    else (region || document.getElementById("main")).prepend(said);
  }

  document.addEventListener("submit", submit, true);
  document.addEventListener("keydown", key, true);
  document.addEventListener("beforeinput", input, true);
  document.addEventListener("htmx:before:request", away);
  document.addEventListener("htmx:before:swap", gather);
  document.addEventListener("htmx:after:swap", stands);
  document.addEventListener("htmx:finally:request", failed);
})();
