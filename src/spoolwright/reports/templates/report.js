"use strict";
(() => {
  /* How a number came to be: the appendix's entry, shown over the page. */
  const box = document.getElementById("how-box");
  const body = box.querySelector("div");
  const heading = document.getElementById("how-title");
  const back = document.getElementById("how-back");
  let trail = [];
  const made = (tag, name, text) => Object.assign(document.createElement(tag), { className: name, textContent: text });
  const fill = (id) => {
    const entry = document.getElementById(id);
    if (!entry) return false;
    const family = entry.closest(".family");
    const [title, result, ...rest] = [...entry.children].map((n) => n.cloneNode(true));
    heading.textContent = title.textContent;
    result.className = "result";
    const formula = made("p", "formula", family.querySelector("summary").firstChild.textContent.trim());
    body.replaceChildren(result, formula, ...rest, family.querySelector("p").cloneNode(true));
    back.hidden = trail.length < 2;
    box.scrollTop = 0;
    return true;
  };
  const show = (id) => {
    if (!box.open) trail = [];
    trail.push(id);
    if (!fill(id)) return false;
    if (!box.open) box.showModal();
    return true;
  };
  back.addEventListener("click", () => { trail.pop(); fill(trail[trail.length - 1]); });
  document.addEventListener("click", (event) => {
    const link = event.target.closest('a[href^="#how-"]');
    if (link && show(link.hash.slice(1))) event.preventDefault();
    else if (event.target === box) box.close();
  });
  if (location.hash.startsWith("#how-")) show(location.hash.slice(1));

  /* A printed page has no folds. */
  let unfolded = [];
  addEventListener("beforeprint", () => {
    unfolded = [...document.querySelectorAll("details:not([open]):not(.family)")];
    for (const d of unfolded) d.open = true;
  });
  addEventListener("afterprint", () => { for (const d of unfolded) d.open = false; });

  /* Strip charts: the drawn path is the data, in whole steps of time and value. */
  const clock = (s) => {
    const w = Math.round(s);
    return `${Math.floor(w / 3600)}:${String(Math.floor(w / 60) % 60).padStart(2, "0")}:${String(w % 60).padStart(2, "0")}`;
  };
  const steps = (svg) => {
    const xs = [], ys = [];
    for (const [, mx, my, rest] of svg.querySelector(".trace").getAttribute("d").matchAll(/M(-?\d+) (-?\d+)l([^M]*)/g)) {
      let x = +mx, y = +my;
      if (xs.length) { xs.push(x); ys.push(NaN); }
      xs.push(x); ys.push(y);
      const d = rest.match(/-?\d+/g);
      for (let i = 0; i + 1 < d.length; i += 2) { x += +d[i]; y += +d[i + 1]; xs.push(x); ys.push(y); }
    }
    return { xs, ys };
  };
  const after = (xs, x) => {
    let a = 0, b = xs.length;
    while (a < b) { const m = (a + b) >> 1; if (xs[m] < x) a = m + 1; else b = m; }
    return a;
  };
  const roundMarks = (low, high, most) => {
    const least = (high - low) / most, power = 10 ** Math.floor(Math.log10(least));
    for (const f of [1, 2, 5, 10, 20, 50]) {
      const step = f * power, first = Math.ceil(low / step - 1e-9), last = Math.floor(high / step + 1e-9);
      if (last - first + 1 <= most) {
        const places = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
        return Array.from({ length: last - first + 1 }, (_, i) => [(first + i) * step, places]);
      }
    }
    return [];
  };
  const spoken = (v, places) => v.toFixed(places).replace("-", "−").replace(/\B(?=(\d{3})+(?!\d))/, "\u202f");
  const ROUND = [0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400];

  const setUp = (host) => {
    const tick = +host.dataset.tick, events = [...host.parentElement.querySelectorAll(".go")];
    const rows = [...host.querySelectorAll(".strip")].map((row) => {
      const svg = row.querySelector("svg");
      return { svg, plot: row.querySelector(".plot"), now: row.querySelector("b"), step: +svg.dataset.step, places: +svg.dataset.places, ...steps(svg) };
    });
    const all = [+host.dataset.from / tick, +host.dataset.to / tick];
    const cursor = host.appendChild(made("div", "cursor", "")), range = host.appendChild(made("div", "range", ""));
    const clocks = host.querySelector(".clock"), numbers = host.querySelector(".events"), at = host.querySelector(".at");
    let [from, to] = all, place = null;

    const ruler = (element, marks) => element.replaceChildren(...marks.map(([text, x]) => {
      const s = made("span", "", text);
      s.style.left = `${(100 * (x - from)) / (to - from)}%`;
      return s;
    }));
    const drawRow = (r) => {
      let low = Infinity, high = -Infinity;
      const end = Math.min(after(r.xs, to) + 1, r.xs.length);
      for (let i = Math.max(after(r.xs, from) - 1, 0); i < end; i++) { if (r.ys[i] < low) low = r.ys[i]; if (r.ys[i] > high) high = r.ys[i]; }
      if (low > high) return;
      const room = 0.07 * (high - low) || Math.abs(high) / 2 || 1;
      low -= room; high += room;
      r.svg.setAttribute("viewBox", `${from} ${low} ${to - from} ${high - low}`);
      r.svg.querySelector(".event").setAttribute("d", events.map((e) => +e.dataset.at / tick).filter((x) => x >= from && x <= to).map((x) => `M${x} ${low}v${high - low}`).join(""));
      for (const s of r.plot.querySelectorAll("span")) s.remove();
      const edge = 0.08 * (high - low);
      for (const [v, places] of roundMarks((edge - high) * r.step, (-low - edge) * r.step, 3)) {
        const s = made("span", "", spoken(v, places));
        s.style.top = `${(100 * (-v / r.step - low)) / (high - low)}%`;
        r.plot.append(s);
      }
    };
    const draw = () => {
      rows.forEach(drawRow);
      const seconds = (to - from) * tick, step = ROUND.find((s) => seconds / s <= 8) || 14400, times = [];
      for (let t = Math.ceil((from * tick) / step) * step; t <= to * tick; t += step) times.push([step < 1 ? `${clock(Math.floor(t))}.${Math.round((t % 1) * 10)}` : clock(t), t / tick]);
      ruler(clocks, times);
      let last = -Infinity;
      const marks = [];
      events.forEach((e, i) => {
        const x = +e.dataset.at / tick;
        if (x < from || x > to || (x - last) / (to - from) < 0.022) return;
        last = x;
        marks.push([String(i + 1), x]);
      });
      ruler(numbers, marks);
      point(place);
    };
    const zoom = (a, b) => {
      const width = Math.min(Math.max(b - a, 2 / tick), all[1] - all[0]);
      from = Math.min(Math.max((a + b - width) / 2, all[0]), all[1] - width);
      to = from + width;
      draw();
    };
    const point = (x) => {
      place = x;
      const seen = x != null && x >= from && x <= to;
      cursor.style.display = seen ? "block" : "none";
      at.textContent = seen ? clock(x * tick) : "";
      if (seen) cursor.style.left = `${left() + ((x - from) / (to - from)) * width()}px`;
      for (const r of rows) {
        let i = after(r.xs, x ?? 0);
        if (i > 0 && (i === r.xs.length || x - r.xs[i - 1] < r.xs[i] - x)) i -= 1;
        r.now.textContent = seen && !Number.isNaN(r.ys[i]) ? spoken(-r.ys[i] * r.step, r.places) : "";
      }
    };
    const left = () => rows[0].plot.getBoundingClientRect().left - host.getBoundingClientRect().left;
    const width = () => rows[0].plot.clientWidth;
    const under = (e) => from + (Math.min(Math.max(e.clientX - rows[0].plot.getBoundingClientRect().left, 0), width()) / width()) * (to - from);

    let start = null;
    const plots = (e) => e.target.closest && e.target.closest(".plot");
    host.addEventListener("pointerdown", (e) => { if (e.isPrimary && plots(e)) { start = e.clientX; host.setPointerCapture(e.pointerId); } });
    host.addEventListener("pointermove", (e) => {
      if (start == null) { if (e.pointerType === "mouse" && plots(e)) point(under(e)); return; }
      const x0 = Math.min(start, e.clientX), x1 = Math.max(start, e.clientX), edge = host.getBoundingClientRect().left;
      range.style.display = x1 - x0 > 8 ? "block" : "none";
      range.style.left = `${x0 - edge}px`;
      range.style.width = `${x1 - x0}px`;
    });
    host.addEventListener("pointerup", (e) => {
      if (start == null) return;
      const a = under({ clientX: start }), b = under(e), far = Math.abs(e.clientX - start) > 8;
      start = null;
      range.style.display = "none";
      if (far) zoom(Math.min(a, b), Math.max(a, b)); else point(b);
    });
    host.addEventListener("pointercancel", () => { start = null; range.style.display = "none"; });
    host.addEventListener("dblclick", (e) => { if (plots(e)) zoom(...all); });
    const middle = () => (place != null && place >= from && place <= to ? place : (from + to) / 2);
    const acts = {
      all: () => zoom(...all),
      in: () => { const m = middle(), w = (to - from) / 4; zoom(m - w, m + w); },
      out: () => { const m = (from + to) / 2, w = to - from; zoom(m - w, m + w); },
      left: () => { const w = (to - from) / 2; zoom(from - w, to - w); },
      right: () => { const w = (to - from) / 2; zoom(from + w, to + w); },
    };
    for (const b of host.querySelectorAll("[data-do]")) b.addEventListener("click", acts[b.dataset.do]);
    for (const e of events) {
      e.disabled = false;
      e.addEventListener("click", () => {
        place = +e.dataset.at / tick;
        zoom(place - 45 / tick, place + 45 / tick);
        host.scrollIntoView({ block: "start" });
      });
    }
    for (const n of host.parentElement.querySelectorAll("[hidden]")) n.hidden = false;
    addEventListener("resize", () => point(place));
  };
  for (const host of document.querySelectorAll(".strips")) setUp(host);
})();
