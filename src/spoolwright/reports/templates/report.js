"use strict";
(() => {
  const box = document.getElementById("how-box");
  const body = box.querySelector("div");
  const show = (id) => {
    const source = document.getElementById(id);
    if (!source) return;
    const title = document.createElement("h3");
    title.textContent = source.querySelector("summary").textContent;
    const parts = [...source.children].slice(1).map((n) => n.cloneNode(true));
    body.replaceChildren(title, ...parts);
    if (!box.open) box.showModal();
    box.scrollTop = 0;
  };
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a.num");
    if (link) { event.preventDefault(); show(link.hash.slice(1)); }
    else if (event.target === box) box.close();
  });

  const runs = JSON.parse(document.getElementById("strip-data").textContent);
  const clock = (s) => {
    const w = Math.round(s);
    return `${Math.floor(w / 3600)}:${String(Math.floor(w / 60) % 60).padStart(2, "0")}:${String(w % 60).padStart(2, "0")}`;
  };
  const marks = (events) => ({
    hooks: {
      draw: (u) => {
        const c = u.ctx;
        c.save();
        c.strokeStyle = "#8a8f94";
        c.setLineDash([3, 3]);
        c.lineWidth = 1;
        for (const e of events) {
          const x = u.valToPos(e.at, "x", true);
          if (x < u.bbox.left || x > u.bbox.left + u.bbox.width) continue;
          c.beginPath();
          c.moveTo(x, u.bbox.top);
          c.lineTo(x, u.bbox.top + u.bbox.height);
          c.stroke();
        }
        c.restore();
      },
    },
  });
  for (const host of document.querySelectorAll(".strips")) {
    const run = runs[host.dataset.run];
    if (!run) continue;
    const plots = [];
    const sync = uPlot.sync(`run-${host.dataset.run}`);
    const zoom = (u) => {
      const { min, max } = u.scales.x;
      for (const p of plots) if (p !== u && (p.scales.x.min !== min || p.scales.x.max !== max)) p.setScale("x", { min, max });
    };
    run.strips.forEach((s, i) => {
      const row = document.createElement("div");
      row.className = "strip";
      const name = document.createElement("div");
      name.className = "name";
      const now = document.createElement("b");
      name.append(`${s.name} [${s.unit}]`, now);
      const plot = document.createElement("div");
      row.append(name, plot);
      host.append(row);
      const last = i === run.strips.length - 1;
      const axis = { stroke: "#1a1a1a", grid: { show: false }, ticks: { size: 4 }, font: "11px Plex, sans-serif" };
      plots.push(new uPlot({
        width: host.clientWidth - 160,
        height: last ? 112 : 84,
        legend: { show: false },
        cursor: { sync: { key: sync.key }, y: false, points: { size: 5 } },
        scales: { x: { time: false } },
        padding: [6, 8, 0, 0],
        axes: [
          { ...axis, show: last, size: 30, values: (u, v) => v.map(clock) },
          { ...axis, size: 58, space: 26 },
        ],
        series: [{}, { stroke: "#1a1a1a", width: 1, points: { show: false } }],
        plugins: [marks(run.events)],
        hooks: {
          setScale: [(u, key) => key === "x" && zoom(u)],
          setCursor: [(u) => { const k = u.cursor.idx; now.textContent = k == null || s.y[k] == null ? "" : s.y[k].toPrecision(5); }],
        },
      }, [s.x, s.y], plot));
    });
    addEventListener("resize", () => {
      for (const p of plots) p.setSize({ width: host.clientWidth - 160, height: p.height });
    });
  }
})();
