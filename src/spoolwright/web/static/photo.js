// Marks on a photograph: tap to set, drag or step by one pixel, a magnified view beside the finger.
// The marks live in the two text fields, so that typing does the same.
"use strict";

(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const REACH = 22; // half a touch target, in CSS pixels
  const GLASS = 24; // half width of the magnified view, at least, in pixels of the picture

  function make(name, into, attributes = {}) {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return into.appendChild(element);
  }

  function begin(image) {
    const form = image.closest("form");
    const frame = image.parentElement;
    const hand = form.querySelector(".photo-hand");
    const glass = form.querySelector(".photo-glass");
    const home = glass.parentElement;
    const wide = image.naturalWidth;
    const high = image.naturalHeight;
    const field = (set) => form.elements[set];
    let view = { x: 0, y: 0, w: wide, h: high };
    let set = "scale_marks";
    let at = -1;
    let held = false;

    const svg = make("svg", frame, { role: "application", tabindex: "0", "aria-label": "Photograph: tap to set a mark, arrow keys move it by one pixel" });
    make("image", svg, { href: image.src, width: wide, height: high });
    const drawn = make("g", svg, { class: "photo-marks" });
    const lens = make("svg", glass, { role: "img", "aria-label": "The picture around the mark, magnified" });
    glass.prepend(lens);
    make("image", lens, { href: image.src, width: wide, height: high });
    const crosses = make("g", lens, { class: "photo-marks" });
    image.hidden = true;
    hand.hidden = false;

    const marks = (name) =>
      field(name).value.split(/[;\n]/).map((line) => line.trim().split(/[,\s]+/).map(Number)).filter((p) => p.length === 2 && p.every(Number.isFinite));

    function write(name, points) {
      field(name).value = points.map(([x, y]) => `${+x.toFixed(1)} ${+y.toFixed(1)}`).join("\n");
      field(name).dispatchEvent(new Event("input", { bubbles: true }));
    }

    const most = () => {
      if (set === "damage_marks") return 60;
      if (form.elements.scale.value === "rule") return 2;
      const points = form.elements.known.value.split(";").filter((p) => p.trim()).length;
      return points > 1 ? points : 4;
    };

    const pixel = () => 1 / svg.getScreenCTM().a;

    function place(event, on = svg) {
      const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(on.getScreenCTM().inverse());
      return [Math.min(Math.max(p.x, 0), wide), Math.min(Math.max(p.y, 0), high)];
    }

    function cross(into, [x, y], size, one) {
      for (const under of ["under ", ""]) {
        make("path", into, { class: `${under}cross`, d: `M${x - size} ${y}H${x - one}M${x + one} ${y}H${x + size}M${x} ${y - size}V${y - one}M${x} ${y + one}V${y + size}` });
      }
    }

    function draw() {
      const one = pixel();
      svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${view.h}`);
      drawn.replaceChildren();
      for (const name of ["scale_marks", "damage_marks"]) {
        const points = marks(name);
        const closed = name === "scale_marks" && points.length > 3 ? "Z" : "";
        if (points.length > 1) {
          for (const under of ["under ", ""]) {
            make("path", drawn, { class: `${under}path ${name === "scale_marks" ? "scale" : ""}`, d: `M${points.map((p) => p.join(" ")).join("L")}${closed}` });
          }
        }
        points.forEach((p, n) => {
          cross(drawn, p, 11 * one, 2 * one);
          if (name === set && n === at) for (const under of ["under", ""]) make("circle", drawn, { class: under, cx: p[0], cy: p[1], r: 15 * one });
          const word = make("text", drawn, { x: p[0] + 13 * one, y: p[1] - 8 * one, "font-size": 15 * one, "stroke-width": 3 * one });
          word.textContent = name === "scale_marks" ? `${n + 1}` : String.fromCharCode(97 + (n % 26));
        });
        form.querySelector(`[data-set=${name}] .count`).textContent = points.length;
        form.querySelector(`[data-set=${name}]`).setAttribute("aria-pressed", name === set);
      }
      magnify();
    }

    function magnify() {
      const here = marks(set)[at];
      crosses.replaceChildren();
      const word = set === "scale_marks" ? "of the scale" : "of the damage";
      form.querySelector(".photo-at").textContent = here
        ? `Mark ${at + 1} ${word}: ${here[0].toFixed(1)}, ${here[1].toFixed(1)}`
        : `Tap mark ${marks(set).length + 1} ${word}.`;
      const half = Math.max(GLASS, 6 * pixel());
      const [x, y] = here || [view.x + view.w / 2, view.y + view.h / 2];
      lens.setAttribute("viewBox", `${x - half} ${y - half} ${2 * half} ${2 * half}`);
      if (here) cross(crosses, here, half * 0.5, half * 0.06);
    }

    function beside(event) {
      const box = frame.getBoundingClientRect();
      const size = lens.getBoundingClientRect().width;
      const right = event.clientX - box.left < box.width / 2;
      frame.append(glass);
      glass.classList.add("beside");
      glass.style.left = `${event.clientX - box.left + (right ? 60 : -60 - size)}px`;
      glass.style.top = `${Math.min(Math.max(event.clientY - box.top - size / 2, 0), box.height - size)}px`;
    }

    function away() {
      glass.classList.remove("beside");
      glass.style.left = glass.style.top = "";
      home.prepend(glass);
    }

    function move(point) {
      const points = marks(set);
      if (!points[at]) return;
      points[at] = [Math.min(Math.max(point[0], 0), wide), Math.min(Math.max(point[1], 0), high)];
      write(set, points);
      draw();
    }

    svg.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      event.preventDefault();
      svg.focus({ preventScroll: true });
      svg.setPointerCapture(event.pointerId);
      const point = place(event);
      const points = marks(set);
      const far = points.map((p) => Math.hypot(p[0] - point[0], p[1] - point[1]) / pixel());
      const near = far.length ? far.indexOf(Math.min(...far)) : -1;
      held = near >= 0 && far[near] < REACH ? { from: point, mark: points[near] } : false;
      if (held) at = near;
      else if (points.length < most()) {
        at = points.length;
        write(set, [...points, point]);
        held = { from: point, mark: point };
      } else {
        if (at < 0) at = points.length - 1;
        held = { from: point, mark: point };
        move(point);
      }
      beside(event);
      draw();
    });

    // A mark is dragged by what the finger moves, so that the finger need not cover it.
    svg.addEventListener("pointermove", (event) => {
      if (!held) return;
      const point = place(event);
      move([held.mark[0] + point[0] - held.from[0], held.mark[1] + point[1] - held.from[1]]);
      beside(event);
    });

    for (const name of ["pointerup", "pointercancel"]) {
      svg.addEventListener(name, () => {
        if (!held) return;
        held = false;
        away();
        draw();
      });
    }

    lens.addEventListener("pointerdown", (event) => {
      if (held || !marks(set)[at]) return;
      event.preventDefault();
      move(place(event, lens));
    });

    function step(dx, dy) {
      const here = marks(set)[at];
      if (here) move([here[0] + dx, here[1] + dy]);
    }

    function near() {
      const [x, y] = marks(set)[at] || [view.x + view.w / 2, view.y + view.h / 2];
      const w = Math.max(view.w / 2, 60);
      const h = (w * high) / wide;
      view = { x: Math.min(Math.max(x - w / 2, 0), wide - w), y: Math.min(Math.max(y - h / 2, 0), high - h), w, h };
    }

    hand.addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (!button) return;
      if (button.dataset.set) {
        set = button.dataset.set;
        at = marks(set).length - 1;
      } else if (button.dataset.step) {
        step(...button.dataset.step.split(" ").map(Number));
      } else if (button.dataset.do === "undo") {
        const points = marks(set);
        points.splice(at < 0 ? points.length - 1 : at, 1);
        write(set, points);
        at = points.length - 1;
      } else if (button.dataset.do === "closer") near();
      else view = { x: 0, y: 0, w: wide, h: high };
      draw();
    });

    svg.addEventListener("keydown", (event) => {
      const way = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }[event.key];
      if (!way) return;
      event.preventDefault();
      step(...way);
    });

    for (const name of ["scale_marks", "damage_marks"]) field(name).addEventListener("change", draw);
    addEventListener("resize", draw);
    if (marks("scale_marks").length >= 2) set = "damage_marks";
    at = marks(set).length - 1;
    draw();
    draw(); // once more with the scale of the first
  }

  addEventListener("DOMContentLoaded", () => {
    const image = document.querySelector(".photo-frame img");
    if (!image) return;
    if (image.complete && image.naturalWidth) begin(image);
    else image.addEventListener("load", () => begin(image), { once: true });
  });
})();
