// The guided verification: says what to put where, watches the deck settle, shows each test inside its limits. Where it stands is
// the server's.
import { $, asking, drawSettling, el, figure, putDrawing, say, table } from "/static/shared.js";

const send = asking("The server does not answer. What was taken is on its disk; this page goes on by itself when it is back.");
let lost = false;
let state = null;
let live = null;
let doing = false;
let drawnFor = null;

const refresh = async () => { state = await send("/tests/state"); drawState(); };
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
const kilograms = (kg) => figure(kg, Number.isInteger(kg) ? 0 : 3);

// Bodies by plate: "2 × F20 + F5 on the middle of plate seat".
const standing = (bodies) => {
  const marks = new Map();
  for (const { body, plate, at_mm: [x, y] } of bodies) {
    const mark = `plate ${plate}, x ${figure(x, 0)} mm, y ${figure(y, 0)} mm`;
    const names = marks.get(mark) ?? new Map();
    names.set(body, (names.get(body) ?? 0) + 1);
    marks.set(mark, names);
  }
  return [...marks].map(([mark, names]) => `${[...names].map(([name, n]) => (n > 1 ? `${n} × ${name}` : name)).join(" + ")} on ${mark}`);
};

const drawState = () => {
  const waits = state.stage === "waits";
  for (const panel of document.querySelectorAll("main .panel:not(.help):not(#task-panel)")) panel.hidden = waits;
  $("settling").hidden = waits;
  if (waits) {
    $("stage").textContent = "Nothing to verify yet.";
    $("task").textContent = state.problem ? "The calibration cannot be verified" : "First the calibration";
    $("how").replaceChildren(state.problem ? `${state.problem}. ` : "This page goes on with the calibration that is made beside it, once its last reading is taken. ", el("a", { href: "/guide" }, "To the guided calibration"));
    drawnFor = null;
    $("drawing").replaceChildren();
    $("drawing-words").textContent = "";
    return;
  }
  const step = state.steps[state.next];
  $("stage").replaceChildren(...state.tests.flatMap((test, i) => {
    const sign = test.left_out ? "–" : test.passed === false ? "✗" : test.over ? "✓" : "○";
    const words = `${sign} ${test.name.toLowerCase()}`;
    return [i ? " → " : "", el(test.under_way ? "strong" : "span", { class: "stage", "aria-current": test.under_way && "step" }, words)];
  }));
  $("by-itself-label").hidden = !step;
  if (step) drawTask(step);
  else {
    const { passed } = state;
    $("task").textContent = passed === null ? "No test was made" : passed ? "✓ Every test that was made stays within its limits" : "✗ A test misses its limit";
    $("how").textContent = "The report and tests.csv are in the run's folder too. What was left out, and what stays to be tested by hand, may not be concluded upon.";
  }
  const key = `${state.next} ${state.stage}`;
  if (drawnFor !== key) {
    drawnFor = key;
    putDrawing(state.drawing, "Seen from above, head end left, the patient's right at the bottom.");
  }
  drawButtons(step);
  drawTests();
  $("steps-head").textContent = `All readings, ${state.steps.filter((s) => s.became === "taken").length} of ${state.steps.length} taken`;
  $("steps").replaceChildren(table("Readings in their order", [{ words: "test" }, { words: "step" }, { words: "done" }, "load, kg", "shown, kg", "error, g", "permissible, ± g"],
    state.steps.map((s, i) => ({ mark: i === state.next, cells: [
      `${i === state.next ? "▶ " : ""}${s.name.toLowerCase()}`, `${s.step}${s.due_min === null ? "" : `, ${s.due_min} min`}`,
      { taken: "✓", waiting: "–", "left out": "left out" }[s.became], figure(s.load_kg, 3), figure(s.shown_kg, 4), figure(s.error_g, 1), figure(s.limit_g, 0)] }))));
  $("open").replaceChildren(...state.open.map((words) => el("li", {}, words)));
};
const drawTask = (step) => {
  const where = standing(step.bodies);
  const load = step.bodies.reduce((sum, b) => sum + b.mass_kg, 0);
  const what = step.bodies.length ? `put ${kilograms(load)} kg on the deck` : "everything off the deck";
  const done = { "set-zero": "then zero is set", "set-tare": "then the tare is set", read: what }[step.act];
  $("task").textContent = `${step.name}, ${state.next + 1} of ${state.steps.length}: ${step.act === "read" ? done : `${what}, ${done}`}`;
  const lying = step.due_min > 0;
  $("how").textContent = lying
    ? `The load lies. The next reading is due ${step.due_min} min after the first, and is taken by itself; stay off the bed.`
    : step.bodies.length ? `${where.join("; ")}. Middles from the plate's head end (x) and from the patient's right (y), within 2 mm; nothing else on the deck. Then hands off.`
      : "Nothing on the plates, nothing touches them.";
};
const drawButtons = (step) => {
  const made = [];
  if (step) {
    const text = { "set-zero": "Set zero", "set-tare": "Set the tare", read: "Take this reading" }[step.act];
    if (!(step.due_min > 0)) made.push(button(text, "/tests/do/take", { id: "main-step" }));
    made.push(button(`Leave out: ${step.name.toLowerCase()}`, "/tests/do/leave-out", { id: "leave-out" }));
  }
  if (state.next > 0) made.push(button("Back one step", "/tests/do/back", { id: "back" }));
  if (!step) made.push(...state.files.map((name) => el("a", { class: "button", href: `/tests/files/${name}`, download: name.endsWith(".html") ? false : name }, name)));
  if (state.has_hands && step && !(step.due_min > 0)) made.push(button("Let invented hands do it", "/tests/hands/next", { id: "hands" }));
  const focus = document.activeElement?.id;
  $("buttons").replaceChildren(...made);
  if (focus) [...$("buttons").children].find((b) => b.id === focus)?.focus();
};

// The chart of the test under way, or of the last one that was.
const drawTests = () => {
  const judged = state.tests.filter((t) => t.chart);
  const shown = state.tests.find((t) => t.under_way && t.chart) ?? judged.at(-1);
  if (shown) {
    const svg = new DOMParser().parseFromString(shown.chart.includes("xmlns=") ? shown.chart : shown.chart.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"'), "image/svg+xml").documentElement;
    $("chart").replaceChildren(svg);
    $("chart-words").textContent = `${shown.name}. Judged: ${shown.judged}. Dashed: limits.`;
  } else {
    $("chart").replaceChildren();
    $("chart-words").textContent = "The first reading will show the first error.";
  }
  const verdict = (t) => {
    if (t.left_out) return "left out";
    if (t.passed === null) return "–";
    const words = t.passed ? (t.over ? "✓ met" : "✓ so far") : "✗ not met";
    return el("td", { class: "words" }, el("span", { class: `verdict ${t.passed ? "met" : "missed"}` }, words));
  };
  $("kinds").replaceChildren(table("Each kind of test by the row that uses most of its limit", ["test", "worst, g", "limit, g", { words: "verdict" }],
    state.tests.map((t) => ({ mark: t.under_way, cells: [t.name.toLowerCase(), figure(t.worst_g, 1), figure(t.limit_g, 1), verdict(t)] }))));
  $("gaps").replaceChildren(...state.tests.flatMap((t) => t.gaps.map((gap) => el("li", {}, `${t.name}: ${gap}`))), ...(state.problem ? [el("li", {}, state.problem)] : []));
};

const drawLive = () => {
  if (!live || !state || live.stage === "waits" || state.stage === "waits") return;
  const step = state.steps[state.next];
  const lying = step?.due_min > 0;
  drawSettling(live, !step);
  if (lying && live.lain_min !== null && !live.silent) $("settling-words").textContent = `lies for ${figure(live.lain_min, 1)} of ${step.due_min} min`;
  const shown = !step ? "" : step.act === "read" ? `shown ${figure(live.shown_kg, 3)} kg of ${kilograms(step.load_kg)} kg` : `shown ${figure(live.shown_kg, 3)} kg`;
  $("shown").textContent = shown;
  const odd = step && live.settled && !live.near;
  if (odd) $("drift").textContent = "▲ That is not the load that is asked for: look at what stands there.";
  const main = $("main-step");
  if (main) main.disabled = !live.settled || doing;
  if ($("by-itself").checked && step && !lying && live.settled && live.near && !doing) act("/tests/do/take-if-near");
};
const watch = async () => {
  try {
    live = await send("/tests/live");
    if (lost || !state || live.stage === "waits" || state.stage === "waits" || live.next !== state.next) { lost = false; say(null); await refresh(); }
    drawLive();
  } catch (problem) { lost = true; say(problem.message); }
  setTimeout(watch, document.hidden ? 2000 : 500);
};
watch();
