// Reads the row of a drawn table under the pointer, or the next one by the arrow keys, into words below the table.
// Everything it says is in the row already.
"use strict";
(() => {
  const words = (row) => [...row.querySelectorAll("svg[role=img] > title")].map((title) => title.textContent).join(". ");

  function show(row) {
    const figure = row.closest(".row-plots");
    const readout = figure.querySelector(".readout");
    if (!readout || !words(row)) return;
    figure.querySelectorAll("tr.here").forEach((old) => old.classList.remove("here"));
    row.classList.add("here");
    readout.hidden = false;
    readout.textContent = words(row);
  }

  for (const kind of ["pointerover", "pointerdown"]) document.addEventListener(kind, (event) => {
    const row = event.target.closest?.(".row-plots tbody tr");
    if (row) show(row);
  });
  document.addEventListener("keydown", (event) => {
    if (!event.target.matches?.(".row-plots .scroll")) return;
    const rows = [...event.target.querySelectorAll("tbody tr")];
    const from = rows.findIndex((row) => row.classList.contains("here"));
    const to = { ArrowDown: from + 1, ArrowUp: from - 1, Home: 0, End: rows.length - 1 }[event.key];
    if (to === undefined || !rows.length) return;
    event.preventDefault();
    show(rows[Math.max(0, Math.min(rows.length - 1, to))]);
  });
})();
