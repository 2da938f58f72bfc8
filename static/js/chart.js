// Reads the value under the pointer, or the next one by the arrow keys, into words below the drawing.
// Everything it says is drawn already: lines are read back through their panel's scale.
"use strict";
(() => {
  const SPAN = 1000; // the width of a chart's field in its own units; heights are px
  const at = new WeakMap(); // drawing -> which stop the keys stand on
  const pairs = (d) => [...d.matchAll(/(-?[\d.]+),(-?[\d.]+)/g)].map((m) => [+m[1], +m[2]]);
  const scale = (panel) => panel.dataset.scale.split(" ").map(Number);
  const value = (px, [low, high, start, end]) => low + (px - start) / (end - start) * (high - low);
  const unit = (words, of) => `${words} ${of}`.trim();
  const write = (v, decimals) => v.toFixed(decimals).replace("-", "−");

  function stops(svg) {
    const marks = [...svg.querySelectorAll("[data-words]")];
    if (marks.length) return marks.map((m) => ({ place: m.dataset.at.split(" ").map(Number), words: m.dataset.words }));
    const line = svg.querySelector("path.line:not(.faint)") ?? svg.querySelector("path.line");
    return line ? pairs(line.getAttribute("d")).map((place) => ({ place })) : [];
  }

  function lineWords(svg, px) {
    const said = [];
    for (const panel of svg.querySelectorAll(".panel")) {
      const s = scale(panel);
      if (!said.length) said.push(`${panel.dataset.name} ${unit(write(value(px, s), s[4]), panel.dataset.unit)}`);
      for (const line of panel.querySelectorAll("path.line")) {
        const near = pairs(line.getAttribute("d")).reduce((a, b) => Math.abs(b[0] - px) < Math.abs(a[0] - px) ? b : a);
        if (Math.abs(near[0] - px) > 16) continue; // a gap, or past the end of this line
        said.push(`${line.dataset.name} ${unit(write(value(near[1], s.slice(5)), s[9]), line.dataset.unit)}`);
      }
      for (const band of panel.querySelectorAll("path.band")) {
        const all = pairs(band.getAttribute("d")), half = all.length / 2; // along its lower edge, and back along the other
        const ends = [all.slice(0, half), all.slice(half)].map((e) => e.reduce((a, b) => Math.abs(b[0] - px) < Math.abs(a[0] - px) ? b : a));
        if (ends.some((end) => Math.abs(end[0] - px) > 16)) continue;
        said.push(`${band.dataset.name} ${unit(ends.map((end) => write(value(end[1], s.slice(5)), s[9])).join(" to "), band.dataset.unit)}`);
      }
    }
    return said.join(" · ");
  }

  function show(svg, { place: [x, y], words }) {
    svg.querySelectorAll(".cursor").forEach((old) => old.remove());
    const mark = document.createElementNS(svg.namespaceURI, "line"), along = `${x * 100 / SPAN}%`;
    const ends = svg.dataset.kind === "rows" ? [2, y - 12, 2, y + 12] : [along, 0, along, svg.height.baseVal.value];
    ["x1", "y1", "x2", "y2"].forEach((name, i) => mark.setAttribute(name, ends[i]));
    mark.setAttribute("class", "cursor");
    svg.append(mark);
    const readout = svg.closest(".chart").querySelector(".readout");
    readout.hidden = false;
    readout.textContent = words ?? lineWords(svg, x);
  }

  function nearest(svg, event) {
    const box = svg.getBoundingClientRect();
    const x = (event.clientX - box.left) / box.width * SPAN, y = event.clientY - box.top;
    const away = ({ place }) => Math.abs(svg.dataset.kind === "rows" ? place[1] - y : place[0] - x);
    return stops(svg).map(away).reduce((best, d, i, all) => d < all[best] ? i : best, 0);
  }

  function go(svg, index) {
    const all = stops(svg);
    if (!all.length) return;
    at.set(svg, Math.max(0, Math.min(all.length - 1, index)));
    show(svg, all[at.get(svg)]);
  }

  // Listening on the document also serves charts that a partial update brings in.
  for (const kind of ["pointermove", "pointerdown"]) document.addEventListener(kind, (event) => {
    const svg = event.target.closest?.(".chart .scroll")?.querySelector("svg[data-kind]");
    if (svg) go(svg, nearest(svg, event));
  });
  document.addEventListener("keydown", (event) => {
    const svg = event.target.matches?.(".chart .scroll") && event.target.querySelector("svg");
    const last = svg ? stops(svg).length - 1 : -1;
    const from = at.get(svg) ?? -1, stride = event.shiftKey ? 10 : 1;
    const to = { ArrowRight: from + stride, ArrowDown: from + stride, ArrowLeft: from - stride, ArrowUp: from - stride, Home: 0, End: last }[event.key];
    if (last < 0 || to === undefined) return;
    event.preventDefault();
    go(svg, to);
  });
})();
