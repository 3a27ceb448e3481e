// Keeps a page that follows fresh, and says by itself when it no longer is. The page works without this.
"use strict";
(() => {
  const OLD_S = 120; // The server sends an event or a word at least every 15 s.
  const LOST_S = 20;
  const AGAIN_S = 15; // After a refusal, or a connection that ended for good.
  const LATE_S = 600; // A nest without a reading for so long is unwatched.
  const MOST_SAID = 3;
  const main = document.querySelector("main[data-fragment]");
  const age = document.getElementById("age");
  const stale = document.getElementById("stale");
  const spoken = document.getElementById("spoken");
  if (!main || !age || !stale || !spoken || !window.EventSource) return;

  // Ages run on the monotonic clock: the browser's idea of the hour may differ from the shelf's.
  const seconds = () => performance.now() / 1000;
  const inner = () => document.getElementById("inner");
  const { sayAge, sayNone, sayPage, sayOld, sayLost, sayMore } = age.dataset;
  const fill = (words, ...values) => words.replace(/\{(\d)\}/g, (_, k) => values[k]);
  const inWords = (s) => s < 90 ? Math.round(s) + " s" : s < 5400 ? Math.round(s / 60) + " min" : Math.round(s / 3600) + " h";
  let refreshed = seconds(), heard = seconds();
  let busy = false, again = false, source = null, warned = "";

  // One sentence each time something becomes so, not at every second of it.
  function warn(kind, words) {
    stale.hidden = !kind;
    if (kind !== warned) stale.textContent = words;
    warned = kind;
  }

  function showAge() {
    const since = seconds() - refreshed;
    const known = parseFloat(inner() ? inner().dataset.age : "");
    const reading = known + since;
    const said = Number.isFinite(known) ? fill(sayAge, inWords(reading)) : sayNone;
    age.textContent = since > LOST_S ? fill(sayPage, said, inWords(since)) : said;
    age.classList.toggle("late", reading > LATE_S || since > OLD_S);
    const asOf = inner() ? inner().dataset.asof : "";
    if (since > OLD_S) {
      warn("old", fill(sayOld, asOf));
    } else if (seconds() - heard > LOST_S) {
      warn("lost", fill(sayLost, asOf));
    } else {
      warn("", "");
    }
    document.body.classList.toggle("old", since > OLD_S);
  }

  // What a reader has begun to write is theirs, even where it is no longer asked for.
  const begun = (field) => field === document.activeElement && field.tagName !== "BUTTON"
    || (field.tagName === "SELECT"
      ? field.selectedIndex !== Math.max(0, [...field.options].findIndex((o) => o.defaultSelected))
      : field.value !== field.defaultValue);
  const kept = (form) => [...form.querySelectorAll("input, select, textarea")].some(begun);

  // Takes a part away, but for forms that somebody has begun to fill in; answers what follows it.
  function drop(gone) {
    const next = gone.nextSibling;
    const forms = gone.nodeType !== Node.ELEMENT_NODE ? []
      : gone.matches("form.ask") ? [gone] : [...gone.querySelectorAll("form.ask")];
    const stays = forms.filter(kept);
    if (!stays.length) gone.remove();
    else forms.filter((form) => !stays.includes(form)).forEach((form) => form.remove());
    return next;
  }

  // Makes `old` like `fresh` and touches nothing that is alike, so that focus, selection and open parts stay.
  function like(old, fresh) {
    if (old.isEqualNode(fresh)) return old;
    const element = fresh.nodeType === Node.ELEMENT_NODE;
    if (!element || old.nodeName !== fresh.nodeName || fresh.namespaceURI !== old.namespaceURI || fresh.nodeName === "svg") {
      old.replaceWith(fresh);
      return fresh;
    }
    for (const a of [...old.attributes]) if (!fresh.hasAttribute(a.name) && a.name !== "open") old.removeAttribute(a.name);
    for (const a of fresh.attributes) if (a.name !== "open" && old.getAttribute(a.name) !== a.value) old.setAttribute(a.name, a.value);
    const named = new Map([...old.children].filter((c) => c.id).map((c) => [c.id, c]));
    const wanted = new Set([...fresh.children].map((c) => c.id).filter(Boolean));
    let at = old.firstChild;
    for (const child of [...fresh.childNodes]) {
      while (at && at.id && !wanted.has(at.id)) at = drop(at);
      const same = child.id ? named.get(child.id) : null;
      // Nothing is moved that could stay: a part that moves loses the focus. What stands before it and has no name goes.
      let between = at;
      while (same && between && between !== same && !between.id) between = between.nextSibling;
      if (same && between === same) while (at !== same) at = drop(at);
      else if (same) old.insertBefore(same, at);
      const mine = same || (at && !at.id && at.nodeName === child.nodeName && !child.id ? at : null);
      if (mine) at = like(mine, child).nextSibling;
      else old.insertBefore(child, at);
    }
    while (at) at = drop(at);
    return old;
  }

  const alarms = () => new Map([...main.querySelectorAll(".alarm[id]")].map((a) => [a.id, a.dataset]));

  // What changed among the alarms, once. Readings are not announced.
  function say(before) {
    const now = alarms();
    const news = [...now].filter(([id, { said }]) => !before.has(id) || before.get(id).said !== said).map(([, { said }]) => said);
    for (const [id, { over }] of before) if (!now.has(id)) news.push(over);
    if (!news.length) return;
    const first = news.slice(0, MOST_SAID).join(". ");
    spoken.textContent = news.length > MOST_SAID ? fill(sayMore, first, news.length - MOST_SAID) : first;
  }

  // What is being read, the surest first: it stays where it is, whatever grows above it.
  function read() {
    if (window.scrollY <= 0) return [];
    const visible = (e) => { const r = e.getBoundingClientRect(); return r.height > 0 && r.top >= 0 && r.top < window.innerHeight; };
    const focused = document.activeElement;
    const parts = [...main.querySelectorAll("h2, p, summary, figure, dl, caption, tr")].filter(visible);
    return (focused && main.contains(focused) && visible(focused) ? [focused] : []).concat(parts.slice(0, 8));
  }

  function put(html) {
    const fresh = new DOMParser().parseFromString(html, "text/html").getElementById("inner");
    if (!fresh || !inner()) return false;
    const before = alarms();
    const seen = read();
    const tops = seen.map((e) => e.getBoundingClientRect().top);
    like(inner(), fresh);
    const stays = seen.findIndex((e) => e.isConnected);
    const moved = stays < 0 ? 0 : seen[stays].getBoundingClientRect().top - tops[stays];
    if (Math.abs(moved) >= 1) window.scrollBy({ top: moved, behavior: "instant" });
    say(before);
    if (inner().dataset.spoken) document.title = inner().dataset.spoken;
    return true;
  }

  async function refresh() {
    if (busy) { again = true; return; }
    busy = true;
    try {
      const answer = await fetch(main.dataset.fragment, { cache: "no-store", signal: AbortSignal.timeout(20000) });
      if (answer.ok && put(await answer.text())) refreshed = heard = seconds();
    } catch (_) {
      // Not answered: the age goes on growing, and says so.
    }
    busy = false;
    showAge();
    if (again) { again = false; refresh(); }
  }

  function follow() {
    source = new EventSource(main.dataset.live);
    source.addEventListener("open", () => { heard = seconds(); });
    source.addEventListener("now", refresh);
    source.addEventListener("alive", () => { heard = seconds(); });
  }

  // A browser gives up after a refusal (too many pages follow): then this one asks now and then.
  const retry = () => {
    if (source.readyState === EventSource.CLOSED && !resting()) { follow(); refresh(); }
  };
  // A browser opens six connections to one place and no more: of pages that nobody sees only that of now follows on,
  // whose name in the tab tells of danger.
  const resting = () => document.hidden && main.id !== "now";
  setInterval(retry, AGAIN_S * 1000);
  document.addEventListener("visibilitychange", () => {
    if (resting()) source.close();
    else if (source.readyState === EventSource.CLOSED) retry();
    else if (!document.hidden) refresh();
  });
  window.addEventListener("pageshow", (e) => { if (e.persisted) refresh(); });
  setInterval(showAge, 1000);
  follow();
  showAge();
})();
