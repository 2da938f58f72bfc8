// Entry from paper: Enter goes to the next line's field, in the sheet's order; at the last one it enters the sheet.
// What stands aside (a bag's mark, why a step was skipped) is reached by Tab. Without script, Enter sends the form.
"use strict";
document.addEventListener("keydown", (event) => {
  const field = event.target, form = field.closest?.("form.lines");
  if (event.key !== "Enter" || event.isComposing || !form || !field.matches("input:not([type=checkbox])")) return;
  const fields = [...form.querySelectorAll("input:not([type=hidden]):not([type=checkbox])")];
  const next = fields.slice(fields.indexOf(field) + 1).find((one) => !one.closest(".aside"));
  if (!next) return;
  event.preventDefault();
  next.focus();
  next.select();
});
