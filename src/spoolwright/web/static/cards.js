// The number pad of a card's step: it writes into the field above it; without it the keyboard does.
"use strict";

const showPads = () => {
  for (const pad of document.querySelectorAll(".pad[hidden]")) pad.hidden = false;
};

document.addEventListener("click", (event) => {
  const key = event.target.closest(".pad [data-key]");
  if (!key) return;
  const field = document.getElementById(key.closest(".pad").dataset.pad);
  if (key.dataset.key === "back") field.value = field.value.slice(0, -1);
  else if (key.dataset.key !== "." || !field.value.includes(".")) field.value += key.dataset.key;
  field.dispatchEvent(new Event("input", { bubbles: true }));
});

addEventListener("DOMContentLoaded", showPads);
new MutationObserver(showPads).observe(document.documentElement, { childList: true, subtree: true });
