// The drawn card follows its buttons, its number and a finger at once. Without script each button asks for the page anew.
"use strict";
(() => {
  const card = document.getElementById("drawn-card");
  const field = document.querySelector(".glass-form [name=card_px]");
  if (!card || !field) return;
  const { share, widthMm, least, most } = card.dataset;

  function draw(px) {
    if (!Number.isFinite(px)) return;
    const width = Math.min(Number(most), Math.max(Number(least), px));
    card.setAttribute("width", width.toFixed(1));
    card.setAttribute("height", (width * share).toFixed(1));
    card.parentElement.setAttribute("aria-label", `A card, drawn ${width.toFixed(1)} px wide`);
    document.documentElement.style.setProperty("--mm", `${width / widthMm}px`); // what stands below shows its sizes
    return width;
  }
  const typed = () => Number(field.value.trim().replace(",", "."));
  const set = (px) => { const width = draw(px); if (width) field.value = width.toFixed(1); };

  if ("unsaid" in card.dataset) set(parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--mm")) * widthMm);
  else draw(typed());

  field.addEventListener("input", () => draw(typed()));
  field.form.addEventListener("click", (event) => {
    const button = event.target.closest("button[name=by]");
    if (!button) return;
    event.preventDefault();
    set((typed() || card.getBoundingClientRect().width) + Number(button.value));
  });
  // Whichever of its two edges the finger draws on: the card keeps its shape.
  card.addEventListener("pointerdown", (event) => { card.setPointerCapture(event.pointerId); event.preventDefault(); });
  card.addEventListener("pointermove", (event) => {
    if (!card.hasPointerCapture(event.pointerId)) return;
    const box = card.getBoundingClientRect();
    set(Math.max(event.clientX - box.left, (event.clientY - box.top) / share));
  });
})();
