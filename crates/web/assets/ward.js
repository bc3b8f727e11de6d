// Keeps a page of the ward live: figures as they come; the page anew when its state changes; a word when the line is lost.
"use strict";
(() => {
  const holder = document.querySelector("[data-live]");
  if (!holder) return;
  const sign = document.documentElement.lang === "de" ? "," : ".";
  // A rounded zero carries no sign, as the server has it.
  const number = (value, decimals) => value.toFixed(decimals).replace(/^-(?=[0.]*$)/, "").replace("-", "−").replace(".", sign);
  const plus = (text) => (text.startsWith("−") ? text : `+${text}`);
  const pounds = (kg) => `${number(kg / 0.45359237, 1)} lb`;
  const lost = document.querySelector("p.lost");
  const says = (bed) => JSON.stringify([bed.state, bed.link_up, bed.trouble, bed.faults, bed.questions.map((q) => q.question), bed.tare_at, bed.awaits_tare, bed.lies, bed.last_event?.at, bed.patient, bed.lies_since]);
  const known = new Map();

  const placeOf = (label) => {
    const page = document.querySelector("[data-live]");
    return page?.dataset.bed === label ? page : [...(page?.querySelectorAll("[data-bed]") ?? [])].find((e) => e.dataset.bed === label);
  };
  const show = (bed) => {
    const place = placeOf(bed.bed);
    if (!place) return;
    for (const part of place.querySelectorAll("[data-value]")) {
      const value = bed[part.dataset.value];
      if (part.dataset.decimals) part.textContent = typeof value === "number" ? number(value, Number(part.dataset.decimals)) : "–";
      if (part.dataset.value === "pounds") part.textContent = typeof bed.patient_kg === "number" ? pounds(bed.patient_kg) : "–";
      // From the weight of who lay here before nothing is reckoned, also while the page cannot be fetched anew; nor of a load that moves.
      const isOf = part.dataset.stay === (bed.lies_since ?? "") && ["settled", "held"].includes(bed.state);
      const beside = part.dataset.value === "change" ? place.querySelector("[data-value=change_pounds]") : null;
      const about = part.dataset.value === "change" ? place.querySelector("[data-value=change_u]") : null;
      if (about) about.textContent = isOf && typeof bed.u_kg === "number" && part.dataset.referenceU ? number(Math.hypot(bed.u_kg, Number(part.dataset.referenceU)), 2) : "–";
      if (part.dataset.value === "change" && !isOf) {
        part.textContent = "–";
        if (beside) beside.textContent = "–";
      }
      else if (part.dataset.value === "change" && typeof bed.patient_kg === "number") {
        const change = bed.patient_kg - Number(part.dataset.reference);
        part.textContent = plus(number(change, 2));
        if (beside) beside.textContent = plus(pounds(change));
      }
    }
  };

  // What a page says in words is the server's: it is fetched anew, unless somebody is typing.
  const busy = () => document.activeElement?.matches("input, select, textarea") || document.querySelector("details[open]");
  // One look at a time: of two on their way the older could come last and leave old words on the page.
  let due = false;
  let underWay = false;
  // Beds of which more is known than the page says.
  const ahead = new Set();
  // A figure that goes on beside words of before would lend them its truth: until the page may be made anew, it says that they are old.
  const putOff = () => {
    due = true;
    for (const place of [...ahead].map(placeOf)) {
      place?.classList.add("behind");
      // On a bed's own page the words stand above the figures.
      const around = place?.dataset.live ? place.closest("main") : place;
      for (const words of around?.querySelectorAll(".belief, .why") ?? []) words.textContent = lost.dataset.behind;
    }
  };
  const fetchAnew = async () => {
    if (busy()) { putOff(); return; }
    if (underWay) { due = true; return; }
    due = false;
    underWay = true;
    try {
      const answer = await fetch(location.href, { headers: { accept: "text/html" } });
      // Signed out meanwhile, say: the server says where to.
      if (answer.redirected || answer.status === 401 || answer.status === 403) { location.reload(); return; }
      if (!answer.ok) throw new Error(`The server answered ${answer.status}.`);
      put(await answer.text());
    } catch {
      // The next thing that is heard tries again: one lost answer must not leave old words on the page.
      due = true;
    } finally {
      underWay = false;
      // The browser's own list of what was asked for would grow by one a look.
      performance.clearResourceTimings();
    }
  };
  const put = (text) => {
    const main = new DOMParser().parseFromString(text, "text/html").querySelector("main");
    if (!main) return;
    // Somebody may have begun to type, or opened something, while the page was on its way.
    if (busy()) { putOff(); return; }
    ahead.clear();
    const focus = document.activeElement?.closest("button, a")?.textContent;
    document.querySelector("main").replaceChildren(...main.children);
    const place = document.querySelector("[data-live]");
    if (place && place.dataset.live !== listened) listen(place);
    if (focus) [...document.querySelectorAll("main button, main a")].find((e) => e.textContent === focus)?.focus();
  };

  let source;
  let listened;
  let quiet;
  const stale = (is) => { lost.hidden = !is; document.body.classList.toggle("stale", is); };
  // What is pressed while nobody hears it leads to an empty page: the bed stays in sight, and what was not done is said.
  document.addEventListener("submit", (event) => {
    if (!document.body.classList.contains("stale") || !event.target.closest("main")) return;
    event.preventDefault();
    lost.textContent = lost.dataset.unsent;
  });
  const heard = () => { stale(false); clearTimeout(quiet); quiet = setTimeout(() => stale(true), 30000); };
  // One look for all that changes meanwhile; not put off by what changes after it, or a busy ward would never be shown anew.
  let timer;
  const soon = () => { timer ??= setTimeout(() => { timer = undefined; fetchAnew(); }, 600); };
  const listen = (place) => {
    source?.close();
    listened = place.dataset.live;
    known.clear();
    let isFirst = true;
    source = new EventSource(listened);
    source.addEventListener("bed", (event) => {
      const bed = JSON.parse(event.data);
      heard();
      const before = known.get(bed.bed);
      known.set(bed.bed, says(bed));
      // What changed between the writing of the page and the first word from the bed is known to nobody: look once.
      if (before !== undefined && before !== says(bed)) ahead.add(bed.bed);
      if (isFirst || (before !== undefined && before !== says(bed)) || due) soon();
      isFirst = false;
      show(bed);
    });
    source.onerror = () => stale(true);
    source.onopen = heard;
  };
  listen(holder);
  // Beds that the page does not show may have come to ask for somebody.
  if (holder.dataset.anewS) setInterval(soon, Number(holder.dataset.anewS) * 1000);
})();
