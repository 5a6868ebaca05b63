// Small conveniences; every page works without them.
"use strict";

document.addEventListener("click", (event) => {
  const fill = event.target.closest("[data-fill]");
  if (fill) {
    const field = document.getElementById(fill.dataset.fill);
    field.value = fill.dataset.value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
  }
  for (const open of document.querySelectorAll("details.who[open]")) {
    if (!open.contains(event.target)) open.open = false;
  }
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const open of document.querySelectorAll("details.who[open]")) {
    open.open = false;
    open.querySelector("summary").focus();
  }
});

// A refused form is read first: by the eye and by the screen reader.
addEventListener("DOMContentLoaded", () => document.querySelector(".conflict, .mistake")?.scrollIntoView({ block: "center" }));
