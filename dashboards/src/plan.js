// Gives every number of the plan's form a slider and reckons anew while it is moved. The page works without this.
"use strict";
(() => {
  const WAIT_MS = 120; // After the last move.
  const main = document.getElementById("plan");
  const form = document.getElementById("plan-form");
  if (!main || !form || !window.fetch || !window.URLSearchParams) return;
  let asked = 0, timer = 0;

  form.querySelectorAll("input[type=number]").forEach((number) => {
    const slider = document.createElement("input");
    slider.type = "range";
    slider.autocomplete = "off";
    slider.min = number.dataset.from;
    slider.max = number.dataset.to;
    slider.step = number.dataset.step;
    slider.value = number.placeholder || (Number(slider.min) + Number(slider.max)) / 2;
    slider.setAttribute("aria-label", number.dataset.saySlider);
    const show = () => {
      slider.classList.toggle("unknown", number.value === "");
      if (number.value !== "") slider.value = number.value;
      slider.setAttribute("aria-valuetext", number.value === "" ? main.dataset.sayUnknown : number.value);
    };
    slider.addEventListener("input", () => { number.value = slider.value; show(); later(); });
    number.addEventListener("input", () => { show(); later(); });
    number.insertAdjacentElement("beforebegin", slider);
    show();
  });
  form.querySelectorAll("select").forEach((s) => s.addEventListener("change", later));
  form.addEventListener("submit", (e) => { e.preventDefault(); reckon(); });

  function later() {
    clearTimeout(timer);
    timer = setTimeout(reckon, WAIT_MS);
  }

  async function reckon() {
    const query = new URLSearchParams(new FormData(form)).toString();
    const mine = ++asked;
    try {
      const answer = await fetch(main.dataset.fragment + "?" + query, { cache: "no-store", signal: AbortSignal.timeout(20000) });
      const html = await answer.text();
      if (mine !== asked) return; // A newer question is under way.
      if (!answer.ok) throw new Error(String(answer.status));
      put(html);
      history.replaceState(null, "", form.action.split("?")[0] + "?" + query);
    } catch (_) {
      if (mine === asked) old(main.dataset.sayOld);
    }
  }

  function put(html) {
    const fresh = new DOMParser().parseFromString(html, "text/html");
    // A status that is replaced is not read out; one whose words change is.
    const line = document.getElementById("plan-line"), said = fresh.getElementById("plan-line");
    if (line && said) {
      line.className = said.className;
      line.replaceChildren(...said.childNodes);
    }
    for (const id of ["plan-worst", "plan-rest"]) {
      const from = fresh.getElementById(id), to = document.getElementById(id);
      if (!from || !to) continue;
      const open = [...to.querySelectorAll("details[open][data-keep]")].map((d) => d.dataset.keep);
      from.querySelectorAll("details[data-keep]").forEach((d) => { d.open = open.includes(d.dataset.keep); });
      to.replaceWith(from);
    }
  }

  function old(words) {
    const line = document.getElementById("plan-line");
    line.className = "stuckline warning";
    line.textContent = words;
  }
})();
