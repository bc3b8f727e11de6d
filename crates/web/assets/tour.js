// A first walk through the invented job: one stop a page, offered on the first page, begun again at will.
import { el, say } from "/static/shared.js";

(() => {
  const STOPS = [
    ["/", say("The whole job on one page: a deck is designed, calibrated, verified, and weighs a patient. Each line leads to its page. Everything here is invented.")],
    ["/design", say("Before material is cut: how far each plate bends under each load, how uncertain a weight will be, what it costs. The verdicts stand first.")],
    ["/workbench", say("The same deck under your hands. Drag a cell, and drawing and figures follow; the file changes where the figure stands.")],
    ["/calibration", say("What a count weighs, cell by cell, and how sure that is. Points without a pattern are good; a finding would name the cell.")],
    ["/guide", say("How a calibration is made: press over each cell, then put a body where the drawing shows it and wait until the counts settle. Invented hands can do it for you here.")],
    ["/tests", say("Then the tests of its class, one after the other: which masses stand where is drawn, and each reading appears inside its limits.")],
    ["/verification", say("Errors inside the limits of the deck's class, and how the deck agrees with a standard scale.")],
    ["/weight", say("Three days of one patient. The solid line may be believed; squares are things that came and went, and none of them became the patient's weight.")],
    ["/balance", say("Weights against the fluid chart: what was gained or lost, what the chart missed, and what comes next if the plan is kept.")],
    ["/twin", say("All of it came from a virtual twin. Choose a night, let it run, and see how the deck does against what is true.")],
  ];
  // On a phone the list of pages is longer than the screen: the one that is open stands in sight.
  document.querySelector("nav.places [aria-current]")?.scrollIntoView({ inline: "center", block: "nearest" });
  const KEY = "bedplate-tour";
  const here = STOPS.findIndex(([path]) => path === location.pathname);
  const link = (path) => document.querySelector(`nav.places a[href="${path}"]`);
  // Only where the whole job is shown there is something to walk through.
  if (here < 0 || !STOPS.every(([path]) => link(path))) return;
  const memory = {
    get: () => { try { return localStorage.getItem(KEY); } catch { return "over"; } },
    set: (value) => { try { localStorage.setItem(KEY, value); } catch { /* A browser that keeps nothing shows the tour when asked. */ } },
  };
  const asked = new URLSearchParams(location.search).has("tour");
  const end = () => {
    memory.set("over");
    document.querySelector("aside.tour")?.remove();
    history.replaceState(null, "", location.pathname);
    document.getElementById("main").focus?.();
  };
  const go = (stop) => { location.assign(`${STOPS[stop][0]}?tour`); };
  const show = () => {
    const heading = el("h2", { tabindex: "-1" }, say("Tour, {} of {}", here + 1, STOPS.length));
    const buttons = [];
    if (here > 0) buttons.push(el("button", { type: "button", onclick: () => go(here - 1) }, say("Back")));
    if (here < STOPS.length - 1) buttons.push(el("button", { type: "button", onclick: () => go(here + 1) }, say("Next")));
    buttons.push(el("button", { type: "button", onclick: end }, here < STOPS.length - 1 ? say("End the tour") : say("Done")));
    const aside = el("aside", { class: "tour", "aria-label": say("Tour") }, heading, el("p", {}, STOPS[here][1]), el("div", { class: "row" }, ...buttons));
    aside.addEventListener("keydown", (event) => { if (event.key === "Escape") end(); });
    document.querySelector("header.title").after(aside);
    // Another language is chosen without leaving the tour.
    document.querySelector("form.choices [name=back]").value = `${location.pathname}?tour`;
    heading.focus();
  };
  const offer = () => {
    const aside = el("aside", { class: "tour", "aria-label": say("Tour") },
      el("p", {}, say("New here? A walk through the job takes five minutes.")),
      el("div", { class: "row" }, el("button", { type: "button", onclick: () => go(0) }, say("Take the tour")), el("button", { type: "button", onclick: end }, say("Not now"))));
    document.querySelector("header.title").after(aside);
  };
  if (asked) show();
  else if (here === 0 && memory.get() !== "over") offer();
  if (here === 0 && memory.get() === "over" && !asked) {
    document.querySelector("header.title .question").append(" ", el("a", { href: "/?tour" }, say("Take the tour")));
  }
})();
