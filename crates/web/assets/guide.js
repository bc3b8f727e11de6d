// The guided calibration: says what to do, watches the counts settle, shows what is found. Where the run stands is the server's.
import { $, asking, drawSettling, el, figure, putDrawing, say, table } from "/static/shared.js";

const send = asking("The server does not answer. What was taken is on its disk; this page goes on by itself when it is back.");
let lost = false;
let state = null;
let live = null;
let doing = false;
let drawnFor = null;

const refresh = async () => { state = await send("/guide/state"); drawState(); };
const act = async (path) => {
  if (doing) return;
  doing = true;
  try { await send(path, {}); say(null); await refresh(); } catch (problem) { say(problem.message); } finally {
    doing = false;
    // What was settled before the step says nothing of the next one.
    live = null;
  }
};
const button = (text, path, attributes = {}) => el("button", { type: "button", ...attributes, onclick: () => act(path) }, text);

const drawState = () => {
  const names = { touch: "touch check", place: "masses", done: "certificate" };
  $("stage").replaceChildren(...Object.entries(names).flatMap(([stage, name], i) => {
    const is = stage === state.stage;
    return [i ? " → " : "", el(is ? "strong" : "span", { class: "stage", "aria-current": is && "step" }, `${i + 1} ${name}`)];
  }));
  const row = state.steps[state.next];
  $("by-itself-label").hidden = state.stage !== "place";
  if (state.stage === "touch") drawTouchTask();
  else if (state.stage === "place") {
    $("task").textContent = `Step ${state.next + 1} of ${state.steps.length}: ${row.place ? `put ${row.what} on plate ${row.place.plate}` : "everything off the deck"}`;
    $("how").textContent = row.place
      ? `${row.mass_kg === null ? "Its mass is found by the fit." : `${row.mass_kg} kg.`} Middle at x ${figure(row.place.x_mm, 0)} mm from the plate's head end and y ${figure(row.place.y_mm, 0)} mm from the patient's right, within 2 mm; nothing else on the deck. Then hands off.`
      : "A reading without load: nothing on the plates, nothing touches them.";
  } else {
    $("task").textContent = "Every reading was taken";
    $("how").replaceChildren("The files are in the run's folder too. Read every finding before the deck is used. Next: ", el("a", { href: "/tests" }, "verify the deck with this calibration"), ".");
  }
  const key = `${state.stage} ${state.next}`;
  if (drawnFor !== key) {
    drawnFor = key;
    putDrawing(state.stage === "place" ? state.drawing : null, "Seen from above, head end left, the patient's right at the bottom. Rings fill with the load to be expected on each cell.");
  }
  drawButtons();
  drawFound();
  $("steps-head").textContent = `The whole run, ${state.next} of ${state.steps.length} readings taken`;
  $("steps").replaceChildren(table("Readings in their order", ["step", "done", { words: "what" }, "kg", "plate", "x, mm", "y, mm"],
    state.steps.map((s, i) => ({ mark: i === state.next, cells: [`${i === state.next ? "▶ " : ""}${s.step}`, s.done ? "✓" : "–", s.what, figure(s.mass_kg, 3), s.place?.plate ?? "–", figure(s.place?.x_mm, 0), figure(s.place?.y_mm, 0)] }))));
};
const drawTouchTask = () => {
  const { places, under_way: underWay } = state.touch;
  const pressed = live?.touching?.pressed ?? 0;
  const place = places[pressed];
  if (!underWay) {
    $("task").textContent = "Touch check: which cell answers where?";
    $("how").textContent = "Nothing on the deck, hands off. Begin once the counts have settled, then press each place that is named here.";
  } else if (place) {
    $("task").textContent = `Press ${pressed + 1} of ${places.length}: over cell ${place.cell} of plate ${place.plate}`;
    $("how").textContent = `x ${figure(place.x_mm, 0)} mm, y ${figure(place.y_mm, 0)} mm. Three seconds, then hands off.`;
  } else {
    $("task").textContent = "Every place was pressed";
    $("how").textContent = "Hands off; then let it be judged.";
  }
};
const drawButtons = () => {
  const made = [];
  const { stage, touch } = state;
  if (stage === "touch" && !touch.under_way) made.push(button("Begin the touch check", "/guide/do/begin-touch", { id: "main-step" }), button("Leave it out", "/guide/do/leave-touch-out"));
  if (stage === "touch" && touch.under_way) made.push(button("Judge it", "/guide/do/end-touch", { id: "main-step" }), button("Begin anew", "/guide/do/touch-again"));
  if (stage === "place") made.push(button("Take this reading", "/guide/do/take", { id: "main-step" }));
  if (stage !== "touch" && state.next > 0) made.push(button("Back one step", "/guide/do/back"));
  if (stage === "done") made.push(...state.files.map((name) => el("a", { class: "button", href: `/guide/files/${name}`, download: name.endsWith(".html") ? false : name }, name)));
  if (state.has_hands && stage !== "done") made.push(button("Let invented hands do it", "/guide/hands/next", { id: "hands" }));
  const focus = document.activeElement?.id || document.activeElement?.textContent;
  $("buttons").replaceChildren(...made);
  if (focus) [...$("buttons").children].find((b) => b.id === focus || b.textContent === focus)?.focus();
};
const drawFound = () => {
  const touched = state.touch.found ? [el("p", {}, state.touch.found.length ? "The touch check found:" : "✓ The touch check found nothing wrong."), el("ul", { class: "plain" }, ...state.touch.found.map((f) => el("li", {}, f)))]
    : state.touch.left_out ? [el("p", {}, "The touch check was left out.")] : [];
  const found = state.found;
  if (!found) { $("found").replaceChildren(...touched, el("p", { class: "soft" }, "The first known mass will show the first gains.")); $("residuals").replaceChildren(); return; }
  if (found.problem) { $("found").replaceChildren(...touched, el("p", {}, `Not yet: ${found.problem}.`)); return; }
  $("found").replaceChildren(...touched,
    el("dl", { class: "facts" }, el("dt", {}, "cells determined"), el("dd", {}, `${found.determined} of ${found.of}`), el("dt", {}, "residual, standard deviation"), el("dd", {}, `${figure(found.residual_sd_g, 2)} g`)),
    found.findings.length ? el("ul", { class: "plain" }, ...found.findings.map((f) => el("li", {}, f))) : el("p", {}, "✓ Nothing was found wrong so far."));
  drawResiduals(found.residuals);
};
// Residuals as bars about zero: a picture beside the table that says the same.
const drawResiduals = (residuals) => {
  const most = Math.max(...residuals.map((r) => Math.abs(r.g)), 1e-6);
  const svg = (tag, attributes, ...children) => { const made = document.createElementNS("http://www.w3.org/2000/svg", tag); for (const [n, v] of Object.entries(attributes)) made.setAttribute(n, v); made.append(...children); return made; };
  const wide = 600 / Math.max(residuals.length, 1);
  const bars = residuals.map((r, i) => {
    const tall = (60 * Math.abs(r.g)) / most;
    const bar = svg("rect", { class: "residual", x: (i * wide + wide * 0.15).toFixed(1), y: (r.g > 0 ? 65 - tall : 65).toFixed(1), width: (wide * 0.7).toFixed(1), height: Math.max(tall, 0.5).toFixed(1) });
    bar.append(svg("title", {}, `step ${r.step}: ${figure(r.g, 1)} g`));
    return bar;
  });
  const label = `Residuals of ${residuals.length} readings, the largest ${figure(most, 1)} g`;
  $("residuals").replaceChildren(
    svg("svg", { viewBox: "0 0 600 130", role: "img", "aria-label": label, class: "residuals" }, svg("line", { x1: 0, x2: 600, y1: 65, y2: 65, class: "axis" }), ...bars),
    el("p", { class: "soft" }, `${label}: fitted less stated load, step by step.`),
    el("details", {}, el("summary", {}, "As a table"), table("Residuals", ["step", "plate", "load, kg", "residual, g"], residuals.map((r) => ({ cells: [r.step, r.plate || "–", figure(r.load_kg, 3), figure(r.g, 1)] })))));
};

const drawLive = () => {
  if (!live || !state) return;
  drawSettling(live, state.stage === "done");
  const main = $("main-step");
  if (main && state.stage === "place") main.disabled = !live.settled || doing;
  if (live.touching) drawTouchTask();
  const moved = live.touching?.moved_kg;
  $("counts").replaceChildren(table("Mean of the last seconds", moved ? ["cell", "counts", "moved, kg by the data sheet"] : ["cell", "counts", "settled"],
    live.cells.map((name, i) => ({ cells: [name, figure(live.counts?.[i], 0), moved ? figure(moved[i], 2) : live.unsettled?.includes(name) ?? true ? "○ no" : "✓ yes"] }))));
  if ($("by-itself").checked && state.stage === "place" && live.settled && !doing) act("/guide/do/take");
};
const watch = async () => {
  try {
    live = await send("/guide/live");
    if (lost || !state) { lost = false; say(null); await refresh(); }
    drawLive();
  } catch (problem) { lost = true; say(problem.message); }
  setTimeout(watch, document.hidden ? 2000 : 500);
};
watch();
