// What guided calibration and guided verification share: where a run stands is the server's; this asks, shows how the counts settle,
// and does one step at a time.
import { $, asking, el, figure, say, svgOf, warn } from "/static/shared.js";

// How far the reading is: in words, as a bar, and what still moves.
const drawSettling = (live, isDone) => {
  $("settling-bar").value = live.seconds ?? 0;
  $("settling-bar").hidden = isDone;
  const words = isDone ? "" : live.silent ? `▲ ${say("Nothing comes from the deck: look at plug and cable.")}` : live.settled ? `✓ ${say("settled")}` : (live.seconds ?? 0) < live.of_seconds - 0.6 ? say("listening: {} of {} s", figure(live.seconds ?? 0, 0), live.of_seconds) : `○ ${say("not settled yet")}`;
  if ($("settling-words").textContent !== words) $("settling-words").textContent = words;
  $("drift").textContent = isDone || live.drift_g === null ? "" : say("Most that a cell still moves: {} g in half a reading.", figure(live.drift_g, 1));
};

// The server's drawing of what stands where, with its words; without one the place is empty.
const putDrawing = (drawing, words) => {
  $("drawing").replaceChildren();
  if (drawing) $("drawing").append(svgOf(drawing));
  $("drawing-words").textContent = drawing ? words : "";
};

// Presses of one button closer than this are one, ms.
const DOUBLE_MS = 500;

// A guided run under an address. `draw` shows its state; `watch` what changes, and may begin a step; both get the run.
export const guided = (at, { draw, watch }) => {
  const send = asking(say("The server does not answer. What was taken is on its disk; this page goes on by itself when it is back."));
  let lost = false;
  let drawnFor = null;
  let last = { step: null, at: 0 };
  const run = { state: null, live: null, doing: false };

  const refresh = async () => { run.state = await send(`${at}/state`); draw(run); };
  // Each step goes with the number of the one that it was drawn for: the server refuses what comes late.
  run.act = async (step, entered = {}, number = run.state.next) => {
    if (run.doing) return;
    run.doing = true;
    if ($("main-step")) $("main-step").ariaDisabled = "true";
    try {
      const told = await send(`${at}/${step}`, { at: number, ...entered });
      last = { step, at: performance.now() };
      warn(null);
      await refresh();
      // What invented hands read off their instruments.
      if (typeof told.entered === "number" && $("entered")) $("entered").value = figure(told.entered, 2);
    } catch (problem) {
      warn(problem.message);
      // What was refused may have been done from another page meanwhile.
      await refresh().catch(() => {});
    } finally {
      run.doing = false;
      // What was settled before the step says nothing of the next one.
      run.live = null;
    }
  };
  // The second of a double press is none: it would do to the next step what was meant for this one.
  const isSecond = (step) => last.step === step && performance.now() - last.at < DOUBLE_MS;
  run.button = (text, step, attributes = {}, entered = () => ({})) => {
    const number = run.state.next;
    const press = ({ currentTarget }) => currentTarget.ariaDisabled === "true" || isSecond(step) || run.act(step, entered(), number);
    return el("button", { type: "button", ...attributes, onclick: press }, text);
  };
  // The button that waits until the counts have settled. It stays in reach of the keyboard meanwhile.
  run.mainButton = (text, step, entered) => run.button(text, step, { id: "main-step", "aria-disabled": "true" }, entered);
  // Where the counts speak against the load that is asked for, the reading is taken by this button alone.
  run.allTheSame = (step, entered = () => ({})) => run.button(say("Take it all the same"), step, { id: "all-the-same", hidden: true }, () => ({ ...entered(), all_the_same: true }));
  // Documents to be read first, then files to be kept.
  run.files = () => {
    const documents = { certificate: say("Open the certificate"), evidence: say("Open the evidence") };
    const isRead = (name) => name.endsWith(".html");
    const link = (name) => el("a", { class: "button", href: `${at}/files/${name}`, download: isRead(name) ? false : name }, documents[name.split(".")[0]] ?? name);
    return [...run.state.files.filter(isRead), ...run.state.files.filter((name) => !isRead(name))].map(link);
  };
  run.hands = () => run.button(say("Let invented hands do it"), "hands/next", { id: "hands" });
  // Buttons made anew keep the focus of the one that says the same.
  run.putButtons = (made) => {
    const focus = document.activeElement?.id || document.activeElement?.textContent;
    $("buttons").replaceChildren(...made.filter((b) => b !== null));
    if (focus) [...$("buttons").children].find((b) => b.id === focus || b.textContent === focus)?.focus();
  };
  // The stages of the run in a line, with the one under way.
  run.putStages = (stages) => $("stage").replaceChildren(...stages.flatMap(([words, isNow], i) => [i ? " → " : "", el(isNow ? "strong" : "span", { class: "stage", "aria-current": isNow && "step" }, words)]));
  // The drawing changes with the step alone: made anew each time it would flicker.
  run.putDrawing = (key, drawing, words) => { if (drawnFor !== key) { drawnFor = key; putDrawing(drawing, words); } };
  // Whether a step of the run is over, and what is to be shown of the reading.
  run.putSettling = (isDone) => {
    drawSettling(run.live, isDone);
    const main = $("main-step");
    const doubt = isDone ? null : run.live.doubt;
    if (main) main.ariaDisabled = String(!run.live.settled || Boolean(doubt) || run.doing);
    if ($("all-the-same")) $("all-the-same").hidden = !doubt;
    if (doubt) $("drift").textContent = `▲ ${doubt}`;
  };

  const look = async () => {
    try {
      run.live = await send(`${at}/live`);
      const { live, state } = run;
      if (lost || !state || live.stage !== state.stage || live.stage === "waits" || live.next !== state.next || Boolean(live.touching) !== Boolean(state.touch?.under_way)) { lost = false; warn(null); await refresh(); }
      if (run.live && run.state) watch(run);
    } catch (problem) { lost = true; warn(problem.message); }
    setTimeout(look, document.hidden ? 2000 : 500);
  };
  look();
};
