// How far a large file is on its way to the book, with a way to stop it. Without this script the browser sends the form.
"use strict";
(() => {
  const LARGE = 2e6; // bytes: what is smaller is there before anything could be read of it

  function shown(form, file) {
    const board = form.querySelector("[data-sending]");
    const bar = board.querySelector("progress"), words = board.querySelector("span"), stop = board.querySelector("button");
    const mb = (bytes) => Math.round(bytes / 1e6);
    board.hidden = false;
    bar.max = file.size;
    return {
      stop,
      at: (bytes) => {
        bar.value = bytes;
        words.textContent = `${mb(bytes)} of ${mb(file.size)} MB sent`;
      },
      end: (said) => {
        stop.hidden = true;
        delete form.dataset.sent; // it may be pressed again at once (forms.js)
        words.textContent = said;
      },
    };
  }

  // The answer is a whole page, or tells where the file's page is.
  function land(form, sent) {
    const to = sent.getResponseHeader("HX-Redirect");
    if (to) return location.assign(to);
    const page = new DOMParser().parseFromString(sent.responseText, "text/html").getElementById("main");
    if (!page) return form.submit();
    document.getElementById("main").replaceWith(page);
    page.querySelector(".refusal")?.focus();
  }

  document.addEventListener("submit", (event) => {
    const form = event.target, file = form.querySelector("input[type=file]")?.files?.[0];
    if (event.defaultPrevented || !form.querySelector("[data-sending]") || !file || file.size < LARGE) return;
    event.preventDefault();
    const sent = new XMLHttpRequest(), told = shown(form, file);
    sent.upload.addEventListener("progress", (now) => told.at(now.loaded));
    sent.upload.addEventListener("load", () => told.end("Sent; the book looks at it…"));
    sent.addEventListener("load", () => land(form, sent));
    sent.addEventListener("error", () => told.end("It did not arrive: the book does not answer. Nothing was kept."));
    sent.addEventListener("abort", () => told.end("Stopped. Nothing was kept; press again to send it."));
    told.stop.hidden = false;
    told.stop.onclick = () => sent.abort();
    told.at(0);
    sent.open("POST", form.action);
    sent.setRequestHeader("HX-Request", "true");
    sent.send(new FormData(form));
  });
})();
