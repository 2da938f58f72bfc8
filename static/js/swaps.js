// What a partial update takes along. Every region marked data-live shows what the book works out, so each answer renews
// all of them; what was typed into them and not sent yet, what was opened and where the cursor stood, stays. What was
// said before is not said again.
(function () {
  "use strict";

  const kept = new WeakMap(); // an answer -> what to put back once it stands

  function also(event) {
    const ctx = event.detail.ctx;
    if (!ctx.select || !ctx.target) return;
    const names = new Set((ctx.selectOOB || "").split(",").filter(Boolean));
    document.querySelectorAll("[data-live][id]").forEach(function (region) {
      if (region !== ctx.target && !ctx.target.contains(region) && !region.contains(ctx.target)) names.add("#" + region.id);
    });
    ctx.selectOOB = Array.from(names).join(",");
  }

  function touched(field) {
    if (field.type === "hidden") return false;
    if (field.type === "checkbox" || field.type === "radio") return field.checked !== field.defaultChecked;
    if (field.tagName === "SELECT") {
      const first = Array.from(field.options).find(function (option) { return option.defaultSelected; }) || field.options[0];
      return Boolean(first) && field.value !== first.value;
    }
    return field.value !== field.defaultValue;
  }

  // An alert that comes anew with the words that stood before would be heard again with every save. A refusal, which takes
  // the focus, is the answer to a press and heard each time.
  function hush(tasks) {
    const ALERTS = "[role=alert]:not([tabindex]), [role=status]:not([id]), [data-said]";
    const words = function (alert) { return alert.textContent.replace(/\s+/g, " ").trim(); };
    const said = new Set(Array.from(document.querySelectorAll(ALERTS)).map(words));
    tasks.forEach(function (task) {
      Array.from(task.fragment ? task.fragment.querySelectorAll(ALERTS) : []).forEach(function (alert) {
        if (!said.has(words(alert))) return;
        alert.removeAttribute("role");
        alert.dataset.said = "";
      });
    });
  }

  const called = function (details) { return details.id || details.querySelector("summary").textContent.trim(); };

  function take(event) {
    const ctx = event.detail.ctx;
    const sent = ctx.request.method === "GET" ? null : ctx.sourceElement;
    const left = { fields: [], opened: [], at: null };
    hush(event.detail.tasks || []);
    const now = document.activeElement;
    // The hand went on to another form while this answer was on its way: the focus is not taken from it.
    if (now && now.matches("input, select, textarea") && (!sent || now.form !== sent)) left.at = [now.id, now.selectionStart, now.selectionEnd];
    (event.detail.tasks || []).forEach(function (task) {
      const region = typeof task.target === "string" ? document.querySelector(task.target) : task.target;
      if (!region) return;
      region.querySelectorAll("input[id], select[id], textarea[id]").forEach(function (field) {
        if (field.form === sent && sent) return;
        if (touched(field)) left.fields.push([field.id, field.value, field.checked]);
      });
      region.querySelectorAll("details[open]").forEach(function (details) {
        if (!sent || details !== sent.parentElement) left.opened.push([region.id, called(details)]);
      });
    });
    kept.set(ctx, left);
  }

  function put(event) {
    const ctx = event.detail.ctx, left = kept.get(ctx);
    if (!left) return;
    kept.delete(ctx);
    left.opened.forEach(function (one) {
      const region = document.getElementById(one[0]);
      Array.from(region ? region.querySelectorAll("details:not([open])") : []).forEach(function (details) {
        if (called(details) === one[1]) details.open = true;
      });
    });
    left.fields.forEach(function (one) {
      const field = document.getElementById(one[0]);
      if (!field) return;
      if (field.type === "checkbox" || field.type === "radio") field.checked = one[2];
      else if (field.tagName !== "SELECT" || Array.from(field.options).some(function (o) { return o.value === one[1]; })) field.value = one[1];
    });
    const field = left.at && left.at[0] && document.getElementById(left.at[0]);
    if (!field) return;
    ctx.stays = true;
    field.focus({ preventScroll: true });
    if (left.at[1] !== null && left.at[1] !== undefined) field.setSelectionRange(left.at[1], left.at[2]);
  }

  document.addEventListener("htmx:config:request", also);
  document.addEventListener("htmx:before:swap", take);
  document.addEventListener("htmx:after:swap", put);
})();
