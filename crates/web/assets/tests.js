// The guided verification: says what to put where, watches the deck settle, shows each test inside its limits. Where it stands is
// the server's.
import { $, el, figure, say, signs, svgOf, table } from "/static/shared.js";
import { guided } from "/static/guided.js";

const kilograms = (kg) => figure(kg, Number.isInteger(kg) ? 0 : 3);

// Bodies by mark: "2 × F20 + F5 on plate seat, x 215 mm, y 430 mm".
const placed = (bodies) => {
  const marks = new Map();
  for (const { body, plate, at_mm: [x, y] } of bodies) {
    const mark = say("plate {}, x {} mm, y {} mm", plate, figure(x, 0), figure(y, 0));
    const names = marks.get(mark) ?? new Map();
    names.set(body, (names.get(body) ?? 0) + 1);
    marks.set(mark, names);
  }
  return [...marks].map(([mark, names]) => say("{} on {}", [...names].map(([name, n]) => (n > 1 ? `${n} × ${name}` : name)).join(" + "), mark));
};

// How bed and room are to stand: "section back at 65°", or nothing to be said.
const standing = ({ setting }) => {
  if (setting?.tilt) return setting.tilt.deg === 0 ? say("section {} flat", setting.tilt.section) : say("section {} at {}°", setting.tilt.section, signs(String(setting.tilt.deg)));
  return setting?.temperature ? say("room and deck at {} °C", signs(String(setting.temperature.celsius))) : null;
};
// The field of the angle or temperature; made anew with the step alone, so that nobody's typing is lost.
let askedFor = null;
const putEntry = (run) => {
  const { ask, next } = run.state;
  const key = ask && `${next} ${ask.what}`;
  if (askedFor === key) return;
  askedFor = key;
  if (!ask) { $("entry").replaceChildren(); return; }
  const words = ask.what === "angle" ? say("Angle that an inclinometer shows on section {}, °", ask.section) : say("Temperature that a thermometer beside the deck shows, °C");
  const press = ({ key: pressed }) => { if (pressed === "Enter") $("main-step")?.click(); };
  const input = el("input", { id: "entered", type: "text", inputmode: "decimal", autocomplete: "off", size: 8, maxlength: 20, onkeydown: press });
  input.value = typeof ask.value === "number" ? figure(ask.value, 2) : "";
  $("entry").replaceChildren(el("label", { class: "field" }, words, " ", input));
};
const entered = () => ($("entered") ? { entered: $("entered").value } : {});

const draw = (run) => {
  const { state } = run;
  const waits = state.stage === "waits";
  for (const panel of document.querySelectorAll("main .panel:not(.help):not(#task-panel)")) panel.hidden = waits;
  $("settling").hidden = waits;
  if (waits) { drawWaiting(run); return; }
  const step = state.steps[state.next];
  run.putStages(state.tests.map((test) => [`${test.left_out ? "–" : test.passed === false ? "✗" : !test.over ? "○" : test.complete ? "✓" : "◐"} ${test.name}`, test.under_way]));
  $("by-itself-label").hidden = !step;
  if (step) drawTask(state, step);
  else {
    const { passed } = state;
    const open = state.tests.filter((test) => !test.left_out && !test.complete).length;
    const within = open ? `◐ ${say("Every test that was made stays within its limits; {} not complete", open)}` : `✓ ${say("Every test that was made stays within its limits")}`;
    $("task").textContent = passed === null ? say("No test was made") : passed ? within : `✗ ${say("A test misses its limit")}`;
    $("how").textContent = say("The report and tests.csv are in the run's folder too. What was left out, and what stays to be tested by hand, may not be concluded upon.");
  }
  const seen = say("Seen from above, head end left, the patient's right at the bottom.");
  run.putDrawing(`${state.next} ${state.stage}`, state.drawing, step?.setting?.tilt ? `${seen} ${say("Below: from the patient's right.")}` : seen);
  putEntry(run);
  drawButtons(run, step);
  drawTests(state);
  $("steps-head").textContent = say("All readings, {} of {} taken", state.steps.filter((s) => s.became === "taken").length, state.steps.length);
  const became = { taken: "✓", waiting: "–", "left out": say("left out") };
  $("steps").replaceChildren(table(say("Readings in their order"), [{ words: say("test") }, { words: say("step") }, { words: say("done") }, say("load, kg"), say("shown, kg"), say("error, g"), say("permissible, ± g")],
    state.steps.map((s, i) => ({ mark: i === state.next, cells: [
      `${i === state.next ? "▶ " : ""}${s.name}`, `${s.step}${s.due_min === null ? "" : `, ${s.due_min} min`}${readAt(s)}`,
      became[s.became], figure(s.load_kg, 3), figure(s.shown_kg, 4), figure(s.error_g, 1), figure(s.limit_g, 0)] }))));
  $("open").replaceChildren(...state.open.map((words) => el("li", {}, words)));
  $("open-panel").hidden = !state.open.length;
};
// At which angle or temperature a step was read, where it is about that.
const readAt = ({ setting, tilt_deg: deg, temperature_C: celsius }) => {
  if (setting?.tilt && typeof deg === "number") return ` (${figure(deg, 2)}°)`;
  return setting?.temperature && typeof celsius === "number" ? ` (${figure(celsius, 1)} °C)` : "";
};
const drawWaiting = (run) => {
  const { problem } = run.state;
  $("stage").textContent = say("Nothing to verify yet.");
  $("task").textContent = problem ? say("The calibration cannot be verified") : say("First the calibration");
  $("how").replaceChildren(problem ? `${problem}. ` : `${say("This page goes on with the calibration that is made beside it, once its last reading is taken.")} `, el("a", { href: "/guide" }, say("To the guided calibration")));
  run.putDrawing("waits", null, "");
};
const drawTask = (state, step) => {
  const load = step.bodies.reduce((sum, b) => sum + b.mass_kg, 0);
  const what = step.bodies.length ? say("put {} kg on the deck", kilograms(load)) : say("everything off the deck");
  const then = { "set-zero": say("then zero is set"), "set-tare": say("then the tare is set") }[step.act];
  const first = standing(step);
  const all = [first, then ? `${what}, ${then}` : what].filter((part) => part).join("; ");
  $("task").textContent = say("{}, {} of {}: {}", step.name, state.next + 1, state.steps.length, all);
  const lying = step.due_min > 0;
  $("how").textContent = lying
    ? say("The load lies. The next reading is due {} min after the first, and is taken by itself; stay off the bed.", step.due_min)
    : step.bodies.length ? `${placed(step.bodies).join("; ")}. ${say("Middles from the plate's head end (x) and from the patient's right (y), within 2 mm; nothing else on the deck. Then hands off.")}`
      : say("Nothing on the plates, nothing touches them.");
  $("how").append(...surroundings(state, step).map((words) => ` ${words}`));
};
// What is to be minded at an angle, and at a temperature.
const surroundings = ({ ask }, { setting, bodies, by_press: byPress }) => {
  if (!setting) return [];
  const words = setting.tilt ? [say("Every other section flat.")] : [say("Every section flat."), say("Wait until the deck has taken on the temperature, two hours or more.")];
  if (byPress) words.push(say("The first reading here is taken by a press."));
  if (!setting.tilt) return words;
  if (setting.tilt.deg !== 0 && bodies.length) words.push(say("Hold the bodies so that they cannot slide, by nothing that bears on anything but the plate."));
  if (ask?.slip_g > 0) words.push(say("Read the angle to 0.01°: a tenth of a degree shows as {} g here.", figure(ask.slip_g, 0)));
  return words;
};
const drawButtons = (run, step) => {
  const { state } = run;
  const made = [];
  if (step) {
    const text = { "set-zero": say("Set zero"), "set-tare": say("Set the tare"), read: say("Take this reading") }[step.act];
    if (!(step.due_min > 0)) made.push(run.mainButton(text, "do/take", entered), run.allTheSame("do/take", entered));
    made.push(run.button(say("Leave out: {}", step.name), "do/leave-out", { id: "leave-out" }));
  }
  if (!step) made.push(...run.files());
  if (state.next > 0) made.push(run.button(say("Back one step"), "do/back", { id: "back" }));
  if (state.has_hands && step && !(step.due_min > 0)) made.push(run.hands());
  run.putButtons(made);
};

// The chart of the test under way, or of the last one that was.
const drawTests = (state) => {
  const judged = state.tests.filter((t) => t.chart);
  const shown = state.tests.find((t) => t.under_way && t.chart) ?? judged.at(-1);
  $("chart").replaceChildren(...(shown ? [svgOf(shown.chart)] : []));
  $("chart-words").textContent = shown ? say("{}. Judged: {}. Dashed: limits.", shown.name, shown.judged) : say("The first reading will show the first error.");
  const verdict = (t) => {
    if (t.left_out) return say("left out");
    if (t.passed === null) return "–";
    const [kind, words] = !t.passed ? ["missed", `✗ ${say("not met")}`] : !t.over ? ["met", `✓ ${say("so far")}`] : t.complete ? ["met", `✓ ${say("met")}`] : ["open", `◐ ${say("not complete")}`];
    return el("td", { class: "words" }, el("span", { class: `verdict ${kind}` }, words));
  };
  $("kinds").replaceChildren(table(say("Each kind of test by the row that uses most of its limit"), [say("test"), { words: say("verdict") }, say("worst, g"), say("limit, g")],
    state.tests.map((t) => ({ mark: t.under_way, cells: [t.name, verdict(t), figure(t.worst_g, 1), figure(t.limit_g, 1)] }))));
  $("gaps").replaceChildren(...state.tests.flatMap((t) => t.gaps.map((gap) => el("li", {}, `${t.name}: ${gap}`))), ...(state.problem ? [el("li", {}, state.problem)] : []));
};

const watch = (run) => {
  const { state, live } = run;
  if (live.stage === "waits" || state.stage === "waits") return;
  const step = state.steps[state.next];
  const lying = step?.due_min > 0;
  run.putSettling(!step);
  if (lying && live.lain_min !== null && !live.silent) $("settling-words").textContent = say("lies for {} of {} min", figure(live.lain_min, 1), step.due_min);
  // A reading that is due and cannot be taken or kept.
  if (lying && live.waits_because && !live.silent) $("drift").textContent = `▲ ${live.waits_because}`;
  $("shown").textContent = !step ? "" : step.act === "read" ? say("shown {} kg of {} kg", figure(live.shown_kg, 3), kilograms(step.load_kg)) : say("shown {} kg", figure(live.shown_kg, 3));
  if ($("by-itself").checked && step && !lying && !step.by_press && live.settled && live.near && !run.doing && $("entered")?.value !== "" && document.activeElement?.id !== "entered") run.act("do/take-if-near", entered());
};
guided("/tests", { draw, watch });
