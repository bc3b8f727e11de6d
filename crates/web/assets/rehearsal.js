// A night of the twin: begins it, looks in while it runs, draws bed, curve and report card.
import { $, PLOT_CONFIG, asking, el, figure, plotAxis, plotLayout, say, token, warn } from "/static/shared.js";
import { drawBed } from "/static/solid.js";

const send = asking(say("The server does not answer. What stands here is the last that it said."));
const clock = (s) => `${Math.floor(s / 3600)}:${String(Math.floor((s % 3600) / 60)).padStart(2, "0")}`;
const WORDS = { settled: say("settled: may be believed"), moving: say("the load moves"), held: say("held during care"), empty: say("nobody on the deck"), overload: say("beyond the deck's range"), fault: say("the deck cannot weigh") };

const drawCurve = (curve) => {
  const known = curve.flatMap(([, shown, truth]) => [shown, truth]).filter((v) => v !== null);
  if (!known.length) return;
  const [low, high] = [Math.min(...known), Math.max(...known)];
  const room = Math.max(0.1, 0.1 * (high - low));
  $("curve").style.height = "320px";
  Plotly.react($("curve"), [
    { type: "scatter", mode: "lines", name: say("true"), x: curve.map((p) => p[0]), y: curve.map((p) => p[2]), line: { color: token("second"), width: 1.6, dash: "dash" }, connectgaps: false },
    { type: "scatter", mode: "lines", name: say("shown, settled"), x: curve.map((p) => p[0]), y: curve.map((p) => p[1]), line: { color: token("main"), width: 2.2 }, connectgaps: false },
  ], plotLayout({
    margin: { l: 60, r: 12, t: 30, b: 48 },
    xaxis: plotAxis(say("hours")), yaxis: { ...plotAxis(say("patient, kg")), range: [low - room, high + room] }, legend: { orientation: "h", y: 1.02, yanchor: "bottom", x: 0 },
  }), PLOT_CONFIG);
};
const headline = (label, value, unit, note) => el("div", { class: "headline" }, el("p", { class: "label" }, label), el("p", { class: "value" }, value, el("span", { class: "unit" }, ` ${unit}`)), el("p", { class: "note" }, note));
const percent = (share, decimals) => `${figure(typeof share === "number" ? 100 * share : null, decimals)} %`;
const drawCard = (card) => {
  if (!card) return;
  const { rows, asked } = card;
  $("card").replaceChildren(
    el("ul", { class: "plain" }, ...asked.map((l) => el("li", {}, el("strong", {}, percent(l.value, 1)), ` ${l.text}`))),
    el("dl", { class: "facts" }, ...[
      [say("rows settled"), `${rows.settled_rows}`],
      [say("settled while the patient lay still"), percent(rows.share_settled, 0)],
      [say("error, half of the rows within"), `${figure(rows.error_median_g, 0)} g`],
      [say("error, 95 % of the rows within"), `${figure(rows.error_p95_g, 0)} g`],
      [say("error, largest of a settled row"), `${figure(rows.error_max_g, 0)} g`],
    ].flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)])),
    el("p", { class: "soft" }, say("Counted by the rules of the verb twin trial, beside what is asked of many nights. A single night may miss that by chance; the verb judges many, and what was found or missed as well.")));
};

let drawn = "";
const draw = (night) => {
  // Before the first night there is nothing to see in them.
  for (const panels of document.querySelectorAll("main .pair")) panels.hidden = !night.begun;
  if (!night.begun) return;
  warn(night.problem);
  const over = night.finished ? (night.problem ? say("ended early") : say("over")) : say("under way");
  $("clock").textContent = say("{}: {} of {} h, {}.", night.scenario, clock(night.t_s), clock(night.hours * 3600), over);
  $("progress").value = night.t_s / (night.hours * 3600);
  $("figures").replaceChildren(
    headline(say("Shown"), figure(night.patient_kg, 2), "kg", `± ${figure(night.u_kg, 2)} kg; ${WORDS[night.state] ?? say("no weight yet")}`),
    headline(say("True"), figure(night.true_kg, 2), "kg", say("what a perfect deck would show")),
    headline(say("Error"), night.true_kg === null || night.patient_kg === null ? "–" : figure(1000 * (night.patient_kg - night.true_kg), 0), "g", say("shown less true, just now")));
  const most = Math.max(...night.plates.map((p) => p.kg), 1);
  const angles = Object.fromEntries(night.sections.map((s) => [s.name, s.now_deg ?? 0]));
  $("bed").replaceChildren(drawBed(night.sections, night.plates.map((p) => ({ ...p, step: Math.max(0, Math.min(4, Math.floor((5 * p.kg) / most))), title: `${p.name}: ${figure(p.kg, 1)} kg` })), angles),
    el("p", {}, night.plates.map((p) => `${p.name} ${figure(p.kg, 1)} kg`).join(" · ")));
  drawCard(night.card);
  const events = night.events.slice(-12).reverse();
  const key = events.map((e) => e.t_s + e.text).join("|");
  if (key !== drawn) {
    drawn = key;
    $("events").replaceChildren(...events.map((e) => el("li", {}, el("strong", {}, clock(e.t_s)), ` ${e.text}`)));
  }
  $("happened").textContent = say("{} things happened so far that the twin knows of; contacts that let go again are most of them.", night.happened);
  drawCurve(night.curve);
};
const look = async () => {
  let wait = 500;
  try {
    const night = await send("/twin/state");
    draw(night);
    if (!night.begun || night.finished) wait = 0;
  } catch (problem) { warn(problem.message); wait = 2000; }
  document.documentElement.dataset.looked = String(Number(document.documentElement.dataset.looked ?? 0) + 1);
  clearTimeout(timer);
  if (wait) timer = setTimeout(look, document.hidden ? 3000 : wait);
};
let timer;
$("begin").addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    await send("/twin/begin", { scenario: $("scenario").value, seed: $("seed").valueAsNumber, speed: Number($("speed").value) });
    warn(null);
    drawn = "";
    look();
  } catch (problem) { warn(problem.message); }
});
$("speed").addEventListener("change", () => send("/twin/speed", { speed: Number($("speed").value) }).catch((problem) => warn(problem.message)));
look();
