// Keeps the page of now fresh, and says by itself when it no longer is. The page works without this.
"use strict";
(() => {
  const OLD_S = 120; // The server sends an event at least every 60 s.
  const main = document.getElementById("now");
  const age = document.getElementById("age");
  const stale = document.getElementById("stale");
  const spoken = document.getElementById("spoken");
  if (!main || !age || !stale || !spoken || !window.EventSource) return;

  // Ages run on the monotonic clock: the browser's idea of the hour may differ from the shelf's.
  const seconds = () => performance.now() / 1000;
  let refreshed = seconds();
  let busy = false, again = false;
  const inner = () => document.getElementById("inner");
  let said = inner() ? inner().dataset.spoken : "";

  const inWords = (s) => s < 90 ? Math.round(s) + " s" : s < 5400 ? Math.round(s / 60) + " min" : Math.round(s / 3600) + " h";

  function showAge() {
    const since = seconds() - refreshed;
    const known = parseFloat(inner() ? inner().dataset.age : "");
    age.textContent = Number.isFinite(known) ? "newest reading " + inWords(known + since) + " old" : "no reading yet";
    const old = since > OLD_S;
    if (old) {
      const words = "This page is older than " + inWords(since) + ": do not rely on it. The watch may have stopped, or this device lost it.";
      if (stale.hidden) stale.textContent = words;
      stale.hidden = false;
    } else {
      stale.hidden = true;
    }
    document.body.classList.toggle("old", old);
  }

  // Someone is writing: what they wrote must not vanish under their hands.
  const writing = () => {
    const at = document.activeElement;
    return at && main.contains(at) && /^(INPUT|SELECT|TEXTAREA)$/.test(at.tagName);
  };

  function put(html) {
    const at = document.activeElement;
    const focus = at && main.contains(at) ? at.id : "";
    const open = [...main.querySelectorAll("details[open][data-keep]")].map((d) => d.dataset.keep);
    const y = window.scrollY;
    const fresh = new DOMParser().parseFromString(html, "text/html").getElementById("inner");
    if (!fresh) return false;
    fresh.querySelectorAll("details[data-keep]").forEach((d) => { d.open = open.includes(d.dataset.keep); });
    main.replaceChildren(fresh);
    window.scrollTo(0, y);
    const back = focus && document.getElementById(focus);
    if (back) back.focus({ preventScroll: true });
    if (fresh.dataset.spoken !== said) {
      said = fresh.dataset.spoken;
      spoken.textContent = said;
      document.title = said;
    }
    return true;
  }

  async function refresh() {
    if (busy) { again = true; return; }
    busy = true;
    try {
      const answer = await fetch(main.dataset.fragment, { cache: "no-store", signal: AbortSignal.timeout(20000) });
      if (answer.ok) {
        const html = await answer.text();
        if (writing()) {
          again = false;
        } else if (put(html)) {
          refreshed = seconds();
        }
      }
    } catch (_) {
      // Not answered: the age goes on growing, and says so.
    }
    busy = false;
    showAge();
    if (again) { again = false; refresh(); }
  }

  new EventSource(main.dataset.live).addEventListener("now", refresh);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
  window.addEventListener("pageshow", (e) => { if (e.persisted) refresh(); });
  setInterval(showAge, 1000);
  showAge();
})();
