// The number pad of a card's step: it writes into the field above it; without it the keyboard does.
// One pad is out at a time: that of the field last touched, at first the first one.
"use strict";

(() => {
  const padOf = (field) => document.querySelector(`.pad[data-pad="${CSS.escape(field.id)}"]`);

  function out(pad) {
    for (const other of document.querySelectorAll(".pad")) other.hidden = other !== pad;
  }

  const first = () => {
    if (!document.querySelector(".pad:not([hidden])")) out(document.querySelector(".pad"));
  };

  document.addEventListener("focusin", (event) => {
    const pad = event.target.matches?.("input.number") && padOf(event.target);
    if (pad) out(pad);
  });

  document.addEventListener("click", (event) => {
    const key = event.target.closest(".pad [data-key]");
    if (!key) return;
    const field = document.getElementById(key.closest(".pad").dataset.pad);
    if (key.dataset.key === "back") field.value = field.value.slice(0, -1);
    else if (key.dataset.key !== "." || !field.value.includes(".")) field.value += key.dataset.key;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });

  addEventListener("DOMContentLoaded", first);
  // A form that was refused is shown again in place of the page's main part.
  new MutationObserver(first).observe(document.body ?? document.documentElement, { childList: true });
})();
