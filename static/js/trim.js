// Two marks on the chart of a record, to drag or to move by the arrow keys: where the burn begins and where it ends.
// They write into the fields “Burn from” and “Burn to”, which stay the truth and work without this script.
"use strict";
function trim(frame) {
  const svg = frame.querySelector("svg"), panel = svg?.querySelector(".panel");
  const fields = ["start", "end"].map((name) => document.querySelector(`form [name="${name}"]`));
  if (!panel || fields.includes(null) || frame.querySelector(".trim-mark")) return;
  const [low, high, , , , , , bottom, top] = panel.dataset.scale.split(" ").map(Number);
  const height = svg.height.baseVal.value;
  const found = [Number(frame.dataset.from), Number(frame.dataset.to)];
  const step = Math.max(0.001, Math.round((high - low)) / 1000);
  const part = (css) => Object.assign(document.createElement("div"), { className: css });
  const [board, before, after] = [part("trim-board"), part("trim-out"), part("trim-out")];
  const marks = ["Burn from", "Burn to"].map((label) => {
    const mark = part("trim-mark");
    mark.tabIndex = 0;
    for (const [name, value] of Object.entries({ role: "slider", "aria-label": `${label}, on the chart`, "aria-valuemin": low.toFixed(3), "aria-valuemax": high.toFixed(3) })) mark.setAttribute(name, value);
    return mark;
  });

  svg.replaceWith(board);
  board.append(svg, before, after, ...marks);
  frame.querySelector("[data-trim-hint]").hidden = false;

  const typed = (i) => {
    const match = fields[i].value.trim().match(/^(\d+(?:[.,]\d+)?|[.,]\d+)\s*(ms|s|sec)?$/i);
    return match ? Number(match[1].replace(",", ".")) / (match[2]?.toLowerCase() === "ms" ? 1000 : 1) : found[i];
  };
  const at = (time) => (Math.min(high, Math.max(low, time)) - low) / (high - low) * 100;

  function draw() {
    for (const part of [before, after, ...marks]) {
      part.style.top = `${top / height * 100}%`;
      part.style.height = `${(bottom - top) / height * 100}%`;
    }
    marks.forEach((mark, i) => {
      mark.style.left = `${at(typed(i))}%`;
      mark.setAttribute("aria-valuenow", typed(i).toFixed(3));
      mark.setAttribute("aria-valuetext", `${typed(i).toFixed(3)} s`);
      mark.dataset.time = `${typed(i).toFixed(3)} s`;
    });
    before.style.left = "0";
    before.style.width = `${at(typed(0))}%`;
    after.style.left = `${at(typed(1))}%`;
    after.style.width = `${100 - at(typed(1))}%`;
  }

  function move(i, time) {
    const bounds = i ? [typed(0) + step, high] : [Math.max(0, low), typed(1) - step];
    fields[i].value = `${Math.min(bounds[1], Math.max(bounds[0], time)).toFixed(3)} s`;
    fields[i].dispatchEvent(new Event("input", { bubbles: true }));
  }

  marks.forEach((mark, i) => {
    mark.addEventListener("pointerdown", (event) => {
      mark.setPointerCapture(event.pointerId);
      mark.focus();
      event.preventDefault();
    });
    mark.addEventListener("pointermove", (event) => {
      if (!mark.hasPointerCapture(event.pointerId)) return;
      const box = svg.getBoundingClientRect();
      move(i, low + (event.clientX - box.left) / box.width * (high - low));
    });
    mark.addEventListener("keydown", (event) => {
      const stride = step * (event.shiftKey ? 10 : 1);
      const by = { ArrowLeft: -stride, ArrowDown: -stride, ArrowRight: stride, ArrowUp: stride, PageDown: -50 * step, PageUp: 50 * step }[event.key];
      const to = { Home: low, End: high }[event.key];
      if (by === undefined && to === undefined) return;
      event.preventDefault();
      move(i, to ?? typed(i) + by);
    });
  });
  for (const field of fields) field.addEventListener("input", draw);
  draw();
}
const trimAll = () => document.querySelectorAll("[data-trim]").forEach(trim);
trimAll();
document.addEventListener("htmx:after:swap", trimAll); // the chart of another reading
