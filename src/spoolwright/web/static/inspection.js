// The bench: touching the map or the outline fills the form; one number pad writes where the finger was last.
// Without it every region is a link and the keyboard does the rest.
"use strict";

(() => {
  const formOf = () => document.querySelector(".finding-form[data-numbered]");

  function mark(selector, link) {
    for (const other of document.querySelectorAll(selector)) {
      if (other.dataset.zone ? other.dataset.zone === link.dataset.zone : other === link) other.setAttribute("aria-current", "true");
      else other.removeAttribute("aria-current");
    }
  }

  function tell(field) {
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }

  document.addEventListener("click", (event) => {
    const form = formOf();
    const sector = event.target.closest(".map a");
    const zone = event.target.closest(".outline a");
    if (form && sector) {
      event.preventDefault();
      form.elements[form.dataset.numbered].value = sector.dataset.number;
      tell(form.elements[form.dataset.numbered]);
      mark(".map a", sector);
    } else if (form && zone) {
      event.preventDefault();
      const box = form.querySelector(`input[name=zone][value="${CSS.escape(zone.dataset.zone)}"]`);
      box.checked = true;
      tell(box);
      mark(".outline a", zone);
    }
  });

  document.addEventListener("change", (event) => {
    const field = event.target;
    if (field.name === "zone") {
      const link = document.querySelector(`.outline a[data-zone="${CSS.escape(field.value)}"]`);
      if (link) {
        mark(".outline a", link);
        document.querySelector(".outline .chosen").textContent = link.dataset.name;
      }
    } else if (field.name === formOf()?.dataset.numbered) {
      const link = document.querySelector(`.map a[data-number="${CSS.escape(field.value)}"]`);
      if (link) mark(".map a", link);
    }
  });

  let last = null;
  document.addEventListener("focusin", (event) => {
    if (event.target.matches?.(".sizes input.number")) last = event.target;
  });

  document.addEventListener("click", (event) => {
    const key = event.target.closest(".pad [data-key]");
    if (!key) return;
    const form = key.closest("form");
    const field = last && form.contains(last) ? last : form.querySelector(".sizes input.number");
    last = field;
    if (key.dataset.key === "back") field.value = field.value.slice(0, -1);
    else if (key.dataset.key !== "." || !field.value.includes(".")) field.value += key.dataset.key;
    tell(field);
  });

  function begin() {
    for (const pad of document.querySelectorAll(".pad[hidden]")) pad.hidden = false;
    if (matchMedia("(hover: hover)").matches && new URLSearchParams(location.search).has("last")) {
      document.querySelector("input[name=quick]")?.focus({ preventScroll: false });
    }
  }

  addEventListener("DOMContentLoaded", begin);
})();
