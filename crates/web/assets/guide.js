// The guided calibration: says what to do, watches the counts settle, shows what is found. Where the run stands is the server's.
import { $, el, figure, say, table } from "/static/shared.js";
import { guided } from "/static/guided.js";

const draw = (run) => {
  const { state } = run;
  run.putStages([["touch", say("touch check")], ["place", say("masses")], ["done", say("certificate")]].map(([stage, name], i) => [`${i + 1} ${name}`, stage === state.stage]));
  const row = state.steps[state.next];
  $("by-itself-label").hidden = state.stage !== "place";
  if (state.stage === "touch") drawTouchTask(run);
  else if (state.stage === "place") drawPlaceTask(state, row);
  else {
    $("task").textContent = say("Every reading was taken");
    $("how").replaceChildren(say("The files are in the run's folder too. Read every finding before the deck is used. Next:"), " ", el("a", { href: "/tests" }, say("verify the deck with this calibration")), ".");
  }
  if (state.stage !== "touch") run.putDrawing(`${state.stage} ${state.next}`, state.stage === "place" ? state.drawing : null, say("Seen from above, head end left, the patient's right at the bottom. Rings fill with the load to be expected on each cell."));
  drawButtons(run);
  drawFound(state);
  $("steps-head").textContent = say("The whole run, {} of {} readings taken", state.next, state.steps.length);
  $("steps").replaceChildren(table(say("Readings in their order"), [say("step"), say("done"), { words: say("what") }, "kg", say("plate"), "x, mm", "y, mm"],
    state.steps.map((s, i) => ({ mark: i === state.next, cells: [`${i === state.next ? "▶ " : ""}${s.step}`, s.done ? "✓" : "–", s.what, figure(s.mass_kg, 3), s.place?.plate ?? "–", figure(s.place?.x_mm, 0), figure(s.place?.y_mm, 0)] }))));
};
const drawPlaceTask = (state, { place, what, mass_kg: massKg }) => {
  const task = place ? say("put {} on plate {}", what, place.plate) : say("everything off the deck");
  $("task").textContent = say("Step {} of {}: {}", state.next + 1, state.steps.length, task);
  const mass = massKg === null ? say("Its mass is found by the fit.") : `${figure(massKg, Number.isInteger(massKg) ? 0 : 3)} kg.`;
  $("how").textContent = place
    ? `${mass} ${say("Middle at x {} mm from the plate's head end and y {} mm from the patient's right, within 2 mm; nothing else on the deck. Then hands off.", figure(place.x_mm, 0), figure(place.y_mm, 0))}`
    : say("A reading without load: nothing on the plates, nothing touches them.");
};
const drawTouchTask = (run) => {
  const { state, live } = run;
  const { places, under_way: underWay } = state.touch;
  const pressed = live?.touching?.pressed ?? 0;
  const place = places[pressed];
  const drawing = underWay ? (state.touch.drawings[pressed] ?? null) : null;
  run.putDrawing(`touch ${drawing ? pressed : "none"}`, drawing, say("Seen from above, head end left, the patient's right at the bottom. The square is the place to press."));
  if (!underWay) {
    $("task").textContent = say("Touch check: which cell answers where?");
    $("how").textContent = say("Nothing on the deck, hands off. Begin once the counts have settled, then press each place that is named here.");
  } else if (place) {
    $("task").textContent = say("Press {} of {}: over cell {} of plate {}", pressed + 1, places.length, place.cell, place.plate);
    $("how").textContent = say("x {} mm, y {} mm. Three seconds, then hands off.", figure(place.x_mm, 0), figure(place.y_mm, 0));
  } else {
    $("task").textContent = say("Every place was pressed");
    $("how").textContent = say("Hands off; then let it be judged.");
  }
};
const drawButtons = (run) => {
  const { stage, touch, next, has_hands: hasHands } = run.state;
  const made = [];
  if (stage === "touch" && !touch.under_way) made.push(run.mainButton(say("Begin the touch check"), "do/begin-touch"), run.button(say("Leave it out"), "do/leave-touch-out"));
  if (stage === "touch" && touch.under_way) made.push(run.button(say("Judge it"), "do/end-touch"), run.button(say("Begin anew"), "do/touch-again"));
  if (stage === "place") made.push(run.mainButton(say("Take this reading"), "do/take"), run.allTheSame("do/take"));
  if (stage === "done") made.push(...run.files());
  if (stage !== "touch" && next > 0) made.push(run.button(say("Back one step"), "do/back"));
  if (hasHands && stage !== "done") made.push(run.hands());
  run.putButtons(made);
};
const drawFound = ({ touch, found }) => {
  const touched = touch.found ? [el("p", {}, touch.found.length ? say("The touch check found:") : `✓ ${say("The touch check found nothing wrong.")}`), el("ul", { class: "plain" }, ...touch.found.map((f) => el("li", {}, f)))]
    : touch.left_out ? [el("p", {}, say("The touch check was left out."))] : [];
  if (!found) { $("found").replaceChildren(...touched, el("p", { class: "soft" }, say("The first known mass will show the first gains."))); $("residuals").replaceChildren(); return; }
  if (found.problem) { $("found").replaceChildren(...touched, el("p", {}, say("Not yet: {}.", found.problem))); return; }
  $("found").replaceChildren(...touched,
    el("dl", { class: "facts" }, el("dt", {}, say("cells determined")), el("dd", {}, say("{} of {}", found.determined, found.of)), el("dt", {}, say("residual, standard deviation")), el("dd", {}, `${figure(found.residual_sd_g, 2)} g`)),
    found.findings.length ? el("ul", { class: "plain" }, ...found.findings.map((f) => el("li", {}, f))) : el("p", {}, `✓ ${say("Nothing was found wrong so far.")}`));
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
    bar.append(svg("title", {}, say("step {}: {} g", r.step, figure(r.g, 1))));
    return bar;
  });
  const label = say("Residuals of {} readings, the largest {} g", residuals.length, figure(most, most < 1 ? 2 : 1));
  $("residuals").replaceChildren(
    svg("svg", { viewBox: "0 0 600 130", role: "img", "aria-label": label, class: "residuals" }, svg("line", { x1: 0, x2: 600, y1: 65, y2: 65, class: "axis" }), ...bars),
    el("p", { class: "soft" }, say("{}: fitted less stated load, step by step. Upwards: too much; the largest fills its half of the height.", label)),
    el("details", {}, el("summary", {}, say("As a table")), table(say("Residuals"), [say("step"), say("plate"), say("load, kg"), say("residual, g")], residuals.map((r) => ({ cells: [r.step, r.plate || "–", figure(r.load_kg, 3), figure(r.g, 1)] })))));
};

const watch = (run) => {
  const { state, live } = run;
  run.putSettling(state.stage === "done");
  if (state.stage === "place" && live.settled && !live.doubt && !live.moved) $("drift").textContent = say("The load was not moved since the last reading.");
  if (live.touching) drawTouchTask(run);
  const moved = live.touching?.moved_kg;
  $("counts").replaceChildren(table(say("Mean of the last seconds"), moved ? [say("cell"), say("counts"), say("moved, kg by the data sheet")] : [say("cell"), say("counts"), say("settled")],
    live.cells.map((name, i) => ({ cells: [name, figure(live.counts?.[i], 0), moved ? figure(moved[i], 2) : live.unsettled?.includes(name) ?? true ? `○ ${say("no")}` : `✓ ${say("yes")}`] }))));
  if ($("by-itself").checked && state.stage === "place" && live.settled && live.moved && !live.doubt && !run.doing) run.act("do/take-if-moved");
};
guided("/guide", { draw, watch });
