// Keeps what stands in an unsaved form on the server, and moves the focus to where work goes on.
(function () {
  "use strict";

  function keep(event) {
    const form = event.target.form;
    if (!form || !form.dataset.draft || !event.target.name) return;
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
  }

  document.addEventListener("change", keep);
  document.addEventListener("submit", once);
  document.addEventListener("htmx:after:swap", function (event) {
    const ctx = event.detail && event.detail.ctx;
    const region = ctx && ctx.target && ctx.target.id ? document.getElementById(ctx.target.id) : null;
    if (region) focusOn(region);
  });
  document.addEventListener("DOMContentLoaded", function () {
    if (document.querySelector(".refusal[tabindex]")) focusOn(document);
  });
})();
