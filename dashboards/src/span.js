// Values of a span's picture under the pointer, a finger, or by keys. The page works without this.
"use strict";
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const fill = (words, ...values) => words.replace(/\{(\d)\}/g, (_, k) => values[k]);
  for (const figure of document.querySelectorAll("figure.span[data-values]")) {
    let values = null, asked = null, last = null;
    const said = document.createElement("output");
    said.className = "reading";
    said.textContent = figure.dataset.sayHint;
    const slide = document.createElement("input");
    Object.assign(slide, { type: "range", min: "0", max: "1000", value: "1000", className: "moment" });
    slide.setAttribute("aria-label", figure.dataset.sayMoment);
    figure.querySelector("figcaption").before(said, slide);

    const load = () => asked || (asked = fetch(figure.dataset.values).then((a) => a.ok ? a.json() : Promise.reject(a.status))
      .then((v) => { values = v; slide.max = String(v.t.length - 1); return v; })
      .catch(() => { asked = null; said.textContent = figure.dataset.sayFailed; return null; }));

    const fixed = (v, digits) => v === null || v === undefined ? figure.dataset.sayUnknown : v.toFixed(digits).replace("-", "\u2212");

    function words(i, mm) {
      const column = values.c[i];
      if (!column) return fill(figure.dataset.sayAt, values.t[i], figure.dataset.sayNothing);
      const said = [];
      if (mm !== null) {
        let best = 0;
        values.at_mm.forEach((x, k) => { if (Math.abs(x - mm) < Math.abs(values.at_mm[best] - mm)) best = k; });
        const sd = values.off_k[i] ? " ± " + fixed(values.off_k[i][best], 1) : "";
        said.push(fill(figure.dataset.sayPlace, fixed(column[best], 1) + sd, Math.round(values.at_mm[best])));
      }
      const lanes = values.lanes.map((l) => l.v[i] === null ? "" : l.label + " " + fixed(l.v[i], 1) + " " + l.unit).filter(Boolean);
      if (lanes.length) said.push(lanes.join(", "));
      return fill(figure.dataset.sayAt, values.t[i], said.join("; "));
    }

    function show(i, mm) {
      if (!values) return;
      i = Math.max(0, Math.min(values.t.length - 1, i));
      last = { i, mm };
      const text = words(i, mm);
      said.textContent = text;
      slide.value = String(i);
      slide.setAttribute("aria-valuetext", text);
      for (const plate of figure.querySelectorAll("[data-frame]")) {
        const [left, right, top, , foot] = plate.dataset.frame.split(" ").map(Number);
        const svg = plate.querySelector("svg");
        const line = svg.querySelector(".d-cursor") || svg.appendChild(document.createElementNS(SVG, "line"));
        line.setAttribute("class", "d-cursor");
        const x = left + (right - left) * (i + 0.5) / values.t.length;
        for (const [name, value] of [["x1", x], ["x2", x], ["y1", top], ["y2", foot]]) line.setAttribute(name, value);
      }
    }

    async function point(event) {
      const plate = event.currentTarget;
      const [left, right, top, mapFoot, , width] = plate.dataset.frame.split(" ").map(Number);
      const box = plate.querySelector("svg").getBoundingClientRect();
      const scale = width / box.width;
      const x = (event.clientX - box.left) * scale, y = (event.clientY - box.top) * scale;
      const v = await load();
      if (!v || x < left || x > right) return;
      const i = Math.floor((x - left) / (right - left) * v.t.length);
      const within = y >= top && y <= mapFoot;
      show(i, within ? (mapFoot - y) / (mapFoot - top) * v.length_mm : null);
    }

    for (const plate of figure.querySelectorAll("[data-frame]")) {
      plate.addEventListener("pointermove", point);
      plate.addEventListener("pointerdown", point);
    }
    slide.addEventListener("focus", load);
    slide.addEventListener("input", async () => {
      const v = await load();
      if (v) show(Number(slide.value), last ? last.mm : v.brood_mm);
    });
  }
})();
