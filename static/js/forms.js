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
    if (target) {
      target.focus();
      whole(target);
    } else if (root !== document && document.activeElement === document.body) {
      root.tabIndex = -1; // the hand was in the region: the next Tab goes on in it, not at the top of the page
      root.focus({ preventScroll: true });
    }
  }

  // What is typed into a field that just got the focus takes the place of what stood there: a kept draft and a scale's
  // line are never put together. A second touch sets the cursor.
  function whole(field) {
    if (field.matches("input[type=text], input[type=search]")) field.select();
  }

  // The key / goes to the search field of the page's head, where no field has the focus. Who speaks to the machine, or
  // rests a hand on the keys, turns it off for this device in the page's foot.
  function slashOff() {
    try { return localStorage.getItem("slash") === "off"; } catch { return false; }
  }

  function slashTold(field) {
    if (!field) return;
    if (slashOff()) field.removeAttribute("aria-keyshortcuts");
    else field.setAttribute("aria-keyshortcuts", "/");
  }

  document.addEventListener("DOMContentLoaded", function () {
    const field = document.querySelector(".find [name=q]");
    const choice = document.getElementById("slash");
    slashTold(field);
    if (!choice) return;
    choice.checked = !slashOff();
    choice.addEventListener("change", function () {
      try { localStorage.setItem("slash", choice.checked ? "on" : "off"); } catch { /* a private window forgets it */ }
      slashTold(field);
    });
  });
  document.addEventListener("keydown", function (event) {
    const field = document.querySelector(".find [name=q]");
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || event.isComposing || !field) return;
    if (event.target.matches("input:not([type=checkbox], [type=radio]), select, textarea, [contenteditable]") || slashOff()) return;
    event.preventDefault();
    field.focus();
  });

  let came = null; // the field that this press of the pointer brought the focus to
  document.addEventListener("pointerdown", function (event) {
    came = event.target === document.activeElement ? null : event.target;
  });
  document.addEventListener("focusin", function (event) { whole(event.target); });
  document.addEventListener("click", function (event) {
    const field = event.target;
    if (field !== came || !document.body.classList.contains("bench")) return;
    if (field.selectionStart === field.selectionEnd) whole(field);
  });

  // A tablet that is turned, or whose keyboard comes up, keeps in view what is typed.
  addEventListener("resize", function () {
    const field = document.activeElement;
    if (field && field.matches("input, select, textarea")) field.scrollIntoView({ block: "nearest" });
  });

  // A second press while the first is on its way is not sent; the server would refuse it as well.
  function once(event) {
    const form = event.target;
    if (form.dataset.sent && Date.now() - Number(form.dataset.sent) < 3000) event.preventDefault();
    form.dataset.sent = String(Date.now());
    forget(form);
  }

  // No answer came: the words stay to be sent again.
  function unanswered(event) {
    tell(event.target, "Grainbook does not answer. What you typed is still here; start Grainbook again, then press once more.");
  }

  // An answer without the region that was asked for, because a row is gone or the program failed, says so where the
  // form is, instead of taking the form off the page.
  function misplaced(event) {
    const ctx = event.detail.ctx;
    if (!ctx.select || !ctx.response || ctx.response.status < 400) return;
    const page = new DOMParser().parseFromString(ctx.text, "text/html");
    if (page.querySelector(ctx.select)) return;
    event.preventDefault();
    tell(event.target, (page.querySelector("[role=alert]") || page.body).textContent.trim() + " What you typed is still here.");
  }

  // Says beside the button that was pressed why nothing was saved.
  function tell(from, why) {
    const form = from.closest && from.closest("form");
    if (!form) return;
    delete form.dataset.sent;
    answered();
    const words = document.createElement("p");
    words.className = "refusal unanswered";
    words.setAttribute("role", "alert");
    words.textContent = "Not saved: " + why;
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
  document.addEventListener("htmx:before:swap", misplaced);
  document.addEventListener("htmx:after:swap", function (event) {
    answered();
    const ctx = event.detail && event.detail.ctx;
    const region = ctx && ctx.target && ctx.target.id ? document.getElementById(ctx.target.id) : null;
    if (region && !ctx.stays) focusOn(region);
  });
  document.addEventListener("DOMContentLoaded", function () {
    if (document.querySelector(".refusal[tabindex]")) focusOn(document);
    else if (document.activeElement) whole(document.activeElement); // the page's own autofocus came before this script
  });
})();
