// Keeps what stands in an unsaved form on the server, and moves the focus to where work goes on.
(function () {
  "use strict";

  const PAUSE = 800; // of the hand, in ms, after which what was typed so far is kept
  const waiting = new Map(); // form -> timer

  function drafted(event) {
    const form = event.target.form;
    return form && form.dataset.draft && event.target.name ? form : null;
  }

  function later(event) {
    const form = drafted(event);
    if (!form) return;
    clearTimeout(waiting.get(form));
    waiting.set(form, setTimeout(keep, PAUSE, form));
  }

  function forget(form) {
    clearTimeout(waiting.get(form));
    waiting.delete(form);
  }

  function keep(form) {
    forget(form);
    fetch("/drafts?page=" + encodeURIComponent(form.dataset.draft), {
      method: "POST",
      body: new URLSearchParams(new FormData(form)),
      keepalive: true,
    }).catch(function () {
      // The server is gone: the words stay in the form, and the save will say so.
    });
  }

  function focusOn(root) {
    const target =
      root.querySelector(".refusal[tabindex]") && root.querySelector("[aria-invalid=true], .refusal[tabindex]")
        ? root.querySelector("[aria-invalid=true]") || root.querySelector(".refusal[tabindex]")
        : root.querySelector("[autofocus]");
    if (target) target.focus();
  }

  // A second press while the first is on its way is not sent; the server would refuse it as well.
  function once(event) {
    const form = event.target;
    if (form.dataset.sent && Date.now() - Number(form.dataset.sent) < 3000) event.preventDefault();
    form.dataset.sent = String(Date.now());
    forget(form);
  }

  // No answer came: said beside the button that was pressed, and the words stay to be sent again.
  function unanswered(event) {
    const form = event.target.closest && event.target.closest("form");
    if (!form) return;
    delete form.dataset.sent;
    answered();
    const words = document.createElement("p");
    words.className = "refusal unanswered";
    words.setAttribute("role", "alert");
    words.textContent = "Not saved: Grainbook does not answer. What you typed is still here; start Grainbook again, then press once more.";
    const buttons = form.querySelector(".actions");
    if (buttons) buttons.before(words);
    else form.append(words);
  }

  function answered() {
    document.querySelectorAll(".unanswered").forEach(function (old) { old.remove(); });
  }

  document.addEventListener("change", function (event) {
    const form = drafted(event);
    if (form) keep(form);
  });
  document.addEventListener("input", later);
  addEventListener("pagehide", function () { waiting.forEach(function (_, form) { keep(form); }); });
  document.addEventListener("submit", once);
  document.addEventListener("htmx:error", unanswered);
  document.addEventListener("htmx:after:swap", function (event) {
    answered();
    const ctx = event.detail && event.detail.ctx;
    const region = ctx && ctx.target && ctx.target.id ? document.getElementById(ctx.target.id) : null;
    if (region) focusOn(region);
  });
  document.addEventListener("DOMContentLoaded", function () {
    if (document.querySelector(".refusal[tabindex]")) focusOn(document);
  });
})();
