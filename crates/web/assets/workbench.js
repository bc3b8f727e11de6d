// The workbench: asks the server about the file on the page, draws what it says, and lets a hand change the file.
import { $, PLOT_CONFIG, asking as answering, digits as places, el, plotAxis, plotLayout, say, signs, svgOf, table, token, warn } from "/static/shared.js";
import { drawBed } from "/static/solid.js";

const send = answering(say("The server does not answer. What stands here is the last answer; the text of the file is safe on this page."));
const opened = JSON.parse($("opened").textContent);
const FIGURES = [
  ["deflection_mm", say("Largest deflection"), "mm", say("of any plate under any load case")],
  ["expanded_u_g", say("Uncertainty of a weight"), "g", say("k = 2, the largest up to max")],
  ["resolvable_24h_g", say("Resolvable change"), "g", say("over 24 h")],
  ["mass_kg", say("Mass"), "kg", say("plates and ribs")],
  ["cost", say("Cost"), "", say("plates, cells, channels")],
];
let text = opened.text;
let begun = opened.text;
let file = opened.file;
let shown = null;
let kept = null;
let past = [];
let future = [];
let angles = {};

// What is changed here outlives a reload, another page and a change of language, for as long as this tab is open; the file stays the truth.
const HERE = "bedplate-workbench";
const here = () => { try { return JSON.parse(sessionStorage.getItem(HERE)); } catch { return null; } };
const keepHere = () => { try { sessionStorage.setItem(HERE, JSON.stringify({ opened: opened.text, file, begun, text, kept })); } catch { /* without room for it the page goes on */ } };
const forget = () => { sessionStorage.removeItem(HERE); $("kept-here").hidden = true; };
const takeUp = () => {
  const before = here();
  if (!before || before.text === opened.text) return;
  const again = ({ file: name, begun: from, text: changed, kept: first }) => {
    file = name;
    begun = from;
    kept = first;
    past = [opened.text];
    text = changed;
    $("download").textContent = say("Download {}", file);
  };
  const anew = el("button", { type: "button", onclick: () => { forget(); ({ file } = opened); begun = opened.text; $("download").textContent = say("Download {}", file); take(opened.text, false); } }, say("Begin anew with the file"));
  if (before.opened === opened.text) {
    again(before);
    $("kept-here").replaceChildren(say("The changes made on this page before were taken up again; the file has none of them until you download it."), " ", anew);
  } else {
    const takeThem = el("button", { type: "button", onclick: () => { again(before); future = []; ask([], "time"); } }, say("Take them up"));
    $("kept-here").replaceChildren(say("The file has changed since changes were made on this page; they are not in what stands here."), " ", takeThem, " ", el("button", { type: "button", onclick: forget }, say("Forget them")));
  }
  $("kept-here").hidden = false;
};

// One question at a time; of those that wait only the newest is asked.
let asking = false;
let next = null;
// A file was given, and the server has not read it yet.
let opening = false;
// The search is looked at from the first answer on: its plot needs the file's currency.
let looking = false;
const ask = (changes, then) => {
  if (asking) {
    next = { changes: next ? [...next.changes, ...changes] : changes, then };
    return;
  }
  asking = true;
  document.body.classList.add("busy");
  const before = text;
  send("/workbench/answer", { file, text, case: Number($("case").value || 0), changes })
    .then((answer) => {
      // The text was taken back or exchanged meanwhile: the question that waits asks about that one.
      if (text !== before) return;
      // Of a cell that is dragged Undo goes back to where it was taken.
      if (answer.text !== before && then !== "time" && !then?.isKept) { past.push(before); future = []; if (then) then.isKept = true; }
      text = answer.text;
      shown = answer;
      if (opening) { begun = answer.text; opening = false; }
      // Until it is known what becomes of changes made to another state of the file, nothing is kept over them.
      if (text !== opened.text || here()?.opened === opened.text) keepHere();
      warn(null);
      draw();
      if (!looking) { looking = true; look(); }
    })
    .catch((problem) => {
      warn(problem.message);
      // What was kept here cannot be read any more: the file can.
      if (!shown && text !== opened.text) { forget(); text = opened.text; next = { changes: [], then: "time" }; }
      draw();
    })
    .finally(() => {
      asking = false;
      document.body.classList.remove("busy");
      document.documentElement.dataset.answered = String(Number(document.documentElement.dataset.answered ?? 0) + 1);
      const waiting = next;
      next = null;
      if (waiting) ask(waiting.changes, waiting.then);
    });
};
const draw = () => {
  if (!shown) return;
  $("asking").textContent = say("{}: answered in {} ms.", shown.name, places(shown.took_ms, 2));
  $("figures").replaceChildren(...FIGURES.map(([key, label, unit, note]) =>
    el("div", { class: "headline", "data-figure": key },
      el("p", { class: "label" }, label),
      el("p", { class: "value" }, places(shown.figures[key], 3), el("span", { class: "unit" }, ` ${unit || shown.currency}`)),
      el("p", { class: "note" }, note))));
  $("case").replaceChildren(...shown.cases.map((name, i) => el("option", { value: i }, name)));
  $("case").value = String(shown.case);
  drawPlan();
  drawAngles();
  drawSolid();
  drawInputs();
  $("requirements").replaceChildren(table(say("What the file asks for, and what was found"), [say("requirement"), say("verdict"), say("found"), say("limit")],
    shown.requirements.map((r) => [r.name, el("td", {}, el("span", { class: `verdict ${r.met ? "met" : "missed"}` }, r.met ? `✓ ${say("met")}` : `✗ ${say("not met")}`)), r.found, r.limit])));
  $("warnings").replaceChildren(...shown.warnings.map((w) => el("li", {}, w)));
  drawBudget();
  drawCompare();
  drawDiff();
  $("undo").disabled = past.length === 0;
  $("redo").disabled = future.length === 0;
  if (document.activeElement !== $("text")) $("text").value = text;
  if ($("download").href.startsWith("blob:")) URL.revokeObjectURL($("download").href);
  $("download").href = URL.createObjectURL(new Blob([text], { type: "application/toml" }));
  $("download").download = file;
};

// The plan is the server's drawing; cells in it are given to hand and keyboard.
let held = null;
const drawPlan = () => {
  const focus = document.activeElement?.closest?.("[data-cell]")?.dataset.cell;
  const svg = svgOf(shown.svg);
  svg.setAttribute("role", "group");
  for (const cell of svg.querySelectorAll("[data-cell]")) {
    const [plate, at] = find(cell.dataset.cell);
    cell.setAttribute("tabindex", "0");
    cell.setAttribute("role", "button");
    cell.setAttribute("aria-label", say("Cell {}, x {} mm, y {} mm of plate {}; arrow keys move it", cell.dataset.cell, signs(String(at[0])), signs(String(at[1])), plate.name));
    if (held?.cell === cell.dataset.cell) { cell.classList.add("chosen"); }
  }
  $("plan").replaceChildren(svg);
  if (focus) $("plan").querySelector(`[data-cell="${CSS.escape(focus)}"]`)?.focus();
  if (held) follow();
};
const find = (name) => {
  for (const plate of shown.plates) for (const cell of plate.cells) if (cell.name === name) return [plate, cell.at_mm];
  return [shown.plates[0], [0, 0]];
};
// So far from the edge a hand leaves a cell, mm: the ring as it is drawn stays on its plate. What is typed may be nearer.
const RING = 24;
const within = (plate, at, edge) => at.map((v, i) => {
  const room = Math.min(edge, plate.size_mm[i] / 2);
  return Math.round(Math.min(Math.max(v, room), plate.size_mm[i] - room) * 10) / 10;
});
const move = (cell, at, edge = RING, stroke = undefined) => {
  const [plate] = find(cell);
  const [x_mm, y_mm] = within(plate, at, edge);
  ask([{ cell, x_mm, y_mm }], stroke);
};
const follow = () => {
  const ring = $("plan").querySelector(`[data-cell="${CSS.escape(held.cell)}"]`);
  const [plate] = find(held.cell);
  for (const circle of ring?.querySelectorAll("circle") ?? []) {
    circle.setAttribute("cx", held.at[0]);
    circle.setAttribute("cy", plate.size_mm[1] - held.at[1]);
  }
};
const under = (event) => {
  const group = $("plan").querySelector(`[data-cell="${CSS.escape(held.cell)}"]`).parentNode;
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(group.getScreenCTM().inverse());
  const [plate] = find(held.cell);
  return within(plate, [Math.round(point.x), Math.round(plate.size_mm[1] - point.y)], RING);
};
$("plan").addEventListener("pointerdown", (event) => {
  const cell = event.target.closest?.("[data-cell]");
  if (!cell) return;
  held = { cell: cell.dataset.cell, at: find(cell.dataset.cell)[1], stroke: { isKept: false } };
  $("plan").setPointerCapture(event.pointerId);
  cell.focus();
  event.preventDefault();
});
$("plan").addEventListener("pointermove", (event) => {
  if (!held) return;
  held.at = under(event);
  held.moved = true;
  follow();
  move(held.cell, held.at, RING, held.stroke);
});
const letGo = () => {
  if (!held) return;
  const { cell, at, moved, stroke } = held;
  held = null;
  if (moved) move(cell, at, RING, stroke);
};
$("plan").addEventListener("pointerup", letGo);
$("plan").addEventListener("pointercancel", letGo);
$("plan").addEventListener("keydown", (event) => {
  const cell = event.target.closest?.("[data-cell]");
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
  if (!cell || !way) return;
  event.preventDefault();
  const step = event.shiftKey ? 1 : 5;
  const [, [x, y]] = find(cell.dataset.cell);
  move(cell.dataset.cell, [x + step * way[0], y + step * way[1]]);
});

const drawAngles = () => {
  const moving = shown.sections.filter(({ angle_deg: [low, high] }) => high > low);
  const known = [...$("angles").querySelectorAll("input")].map((i) => i.dataset.section).join();
  if (known === moving.map((s) => s.name).join()) return;
  $("angles").replaceChildren(...moving.map((section) => {
    const [low, high] = section.angle_deg;
    const told = el("output", {}, `${angles[section.name] ?? 0}°`);
    return el("label", { class: "field" }, section.name,
      el("input", { type: "range", min: low, max: high, step: 1, value: angles[section.name] ?? 0, "data-section": section.name,
        oninput: (event) => { angles[section.name] = Number(event.target.value); told.textContent = `${event.target.value}°`; drawSolid(); } }),
      told);
  }));
};
const drawSolid = () => {
  const most = Math.max(...shown.plates.map((p) => p.max_mm), 1e-9);
  const plates = shown.plates.map((p) => ({ ...p, step: Math.min(4, Math.floor((p.max_mm / most) * 5)), title: say("{}: {} mm down at most", p.name, places(p.max_mm, 2)) }));
  $("solid").replaceChildren(drawBed(shown.sections, plates, angles));
};

const number = (label, value, change) => el("input", { type: "number", step: "any", min: "0", value, "aria-label": label,
  onchange: (event) => { const given = event.target.valueAsNumber; if (Number.isFinite(given)) change(given); } });
const drawInputs = () => {
  if ($("inputs").contains(document.activeElement) && document.activeElement.matches("input")) {
    // Who types goes on typing; the figures of the others follow.
    const focus = document.activeElement.getAttribute("aria-label");
    queueMicrotask(() => [...$("inputs").querySelectorAll("input")].find((i) => i.getAttribute("aria-label") === focus)?.focus());
  }
  const layers = (plate, layer, mm) => {
    const alike = $("alike").checked ? shown.plates.filter((p) => p.layers[layer]?.material === plate.layers[layer].material) : [plate];
    ask(alike.map((p) => ({ plate: p.name, layer, thickness_mm: mm })));
  };
  $("inputs").replaceChildren(...shown.plates.map((plate) => el("div", {},
    el("h3", {}, say("Plate {}, {} kg", plate.name, places(plate.mass_kg, 3))),
    el("p", { class: "row" },
      ...plate.layers.map((layer, i) => el("label", { class: "field" }, `${i + 1}. ${layer.material}, mm`,
        number(say("Thickness of layer {} of plate {}, mm", i + 1, plate.name), layer.thickness_mm, (mm) => layers(plate, i, mm)))),
      el("label", { class: "field" }, say("clearance, mm"),
        number(say("Clearance of plate {}, mm", plate.name), plate.clearance_mm, (mm) => ask([{ plate: plate.name, clearance_mm: mm }])))),
    table(say("Cells of plate {}, mm from its corner at the head end and the patient's right", plate.name), [say("cell"), "x, mm", "y, mm"],
      plate.cells.map((cell) => [cell.name,
        number(say("x of cell {}, mm", cell.name), cell.at_mm[0], (x) => move(cell.name, [x, cell.at_mm[1]], 0)),
        number(say("y of cell {}, mm", cell.name), cell.at_mm[1], (y) => move(cell.name, [cell.at_mm[0], y], 0))])))));
};

const drawBudget = () => {
  const most = Math.max(...shown.budget.flatMap((s) => [s.u_at_max_g, s.u_change_24h_g]), 1e-9);
  const bar = (value, kind) => { const made = el("div", { class: `bar ${kind}` }); made.style.width = `${(100 * value) / most}%`; return made; };
  $("budget").replaceChildren(table(say("Standard uncertainty by source, g: full bars for a weight at max, hatched ones for a change over 24 h"), [say("source"), say("at max"), "24 h", { words: say("full: at max; hatched: 24 h") }],
    shown.budget.map((s) => [s.source, places(s.u_at_max_g, 2), places(s.u_change_24h_g, 2), el("td", { class: "bars" }, bar(s.u_at_max_g, ""), bar(s.u_change_24h_g, "second"))])));
};

const drawCompare = () => {
  if (!kept) { $("compare").replaceChildren(el("p", { class: "soft" }, say("No design is kept yet."))); return; }
  const rows = FIGURES.map(([key, label, unit]) => {
    const [a, b] = [kept.figures[key], shown.figures[key]];
    const way = Math.abs(b - a) < 0.0005 * Math.max(Math.abs(a), Math.abs(b)) ? "" : b < a ? "better" : "worse";
    const words = { better: say("better"), worse: say("worse") }[way];
    const sign = way === "" ? say("the same") : `${b < a ? "▼" : "▲"} ${places(Math.abs(b - a), 2)}, ${words}`;
    return [`${label}, ${unit || shown.currency}`, places(a, 3), places(b, 3), el("td", { class: way }, sign)];
  });
  const unmet = (of) => of.requirements.filter((r) => !r.met).map((r) => r.name).join(", ") || say("all met");
  rows.push([say("requirements"), unmet(kept), unmet(shown), ""]);
  $("compare").replaceChildren(
    table(say("A as it was kept, B as it stands"), [say("figure"), "A", "B", say("B against A")], rows),
    el("details", {}, el("summary", {}, say("Lines that differ from A to B")), el("pre", { tabindex: "0" }, ...lines(kept.text, text))),
    el("p", {}, el("button", { type: "button", onclick: () => take(kept.text, false) }, say("Go back to A"))));
};

// What differs line by line: the longest common run of lines stays (files of a few hundred lines).
const lines = (before, after) => {
  const [a, b] = [before.split("\n"), after.split("\n")];
  const common = Array.from({ length: a.length + 1 }, () => new Uint32Array(b.length + 1));
  for (let i = a.length - 1; i >= 0; i -= 1) for (let j = b.length - 1; j >= 0; j -= 1) common[i][j] = a[i] === b[j] ? common[i + 1][j + 1] + 1 : Math.max(common[i + 1][j], common[i][j + 1]);
  const out = [];
  for (let i = 0, j = 0; i < a.length || j < b.length;) {
    if (i < a.length && j < b.length && a[i] === b[j]) { i += 1; j += 1; }
    else if (i < a.length && (j === b.length || common[i + 1][j] >= common[i][j + 1])) { out.push(el("del", {}, `${String(i + 1).padStart(4)} − ${a[i]}\n`)); i += 1; }
    else { out.push(el("ins", {}, `${String(j + 1).padStart(4)} + ${b[j]}\n`)); j += 1; }
  }
  return out.length ? out : [say("Nothing.")];
};
const drawDiff = () => $("diff").replaceChildren(...lines(begun, text));

const take = (given, asNew) => {
  const before = text;
  text = given;
  past.push(before);
  future = [];
  opening = asNew;
  next = null;
  ask([], "time");
};
// Changes that still wait were made to the text that is left here.
const turn = (from, to) => {
  if (!from.length) return;
  to.push(text);
  text = from.pop();
  next = null;
  ask([], "time");
};
$("undo").addEventListener("click", () => turn(past, future));
$("redo").addEventListener("click", () => turn(future, past));
$("case").addEventListener("change", () => ask([], "time"));
$("keep").addEventListener("click", () => { kept = { text: shown.text, figures: shown.figures, requirements: shown.requirements }; drawCompare(); keepHere(); });
$("apply").addEventListener("click", () => take($("text").value, false));
$("upload").addEventListener("change", async (event) => {
  const given = event.target.files[0];
  if (!given) return;
  if (given.size > 400000) { warn(say("{} has {} bytes; a deck file has some ten thousand.", given.name, given.size)); return; }
  file = given.name;
  $("download").textContent = say("Download {}", file);
  take(await given.text(), true);
});

// The search goes on in the background; the page looks in once a second while it runs.
let again;
const look = async () => {
  let report;
  clearTimeout(again);
  try { report = await send("/workbench/search"); } catch (problem) { $("found").textContent = problem.message; again = setTimeout(look, 2000); return; }
  if (!report.begun) return;
  const part = report.finished ? say("The search is done") : say("Searching: {} of {} parts", report.done, report.of);
  $("found").textContent = report.problem ?? say("{}; {} designs tried, {} kept.", part, report.candidates, report.designs.length);
  drawFront(report);
  if (!report.finished && !report.problem) again = setTimeout(look, 1000);
};
$("search").addEventListener("click", async () => {
  try { await send("/workbench/search", { file, text }); look(); } catch (problem) { $("found").textContent = problem.message; }
});
const open = async (report, design) => {
  try {
    const { text: given } = await send(`/workbench/search/${report.rounds}/${design.number}`);
    kept = { text: shown.text, figures: shown.figures, requirements: shown.requirements };
    take(given, false);
  } catch (problem) { $("found").textContent = problem.message; }
};
const drawFront = (report) => {
  const designs = report.designs;
  if (!designs.length) return;
  $("front").replaceChildren(table(say("Designs that no other beats"), [say("design"), say("cost, {}", shown.currency), say("mass, kg"), say("deflection margin, mm"), say("resolvable change, g"), say("open")],
    designs.map((d) => [String(d.number), places(d.cost, 4), places(d.mass_kg, 3), places(d.deflection_margin_mm, 3), places(d.resolvable_24h_g, 3),
      el("button", { type: "button", "aria-label": say("Open design {}", d.number), onclick: () => open(report, d) }, say("Open"))])));
  const canvas = $("front-plot");
  const size = (d) => 8 + 12 * ((d.mass_kg - least) / (greatest - least || 1));
  const [least, greatest] = [Math.min(...designs.map((d) => d.mass_kg)), Math.max(...designs.map((d) => d.mass_kg))];
  canvas.style.height = "380px";
  Plotly.react(canvas, [{
    type: "scatter", mode: "markers", name: say("designs"), x: designs.map((d) => d.cost), y: designs.map((d) => d.deflection_margin_mm),
    marker: { size: designs.map(size), color: token("main"), opacity: 0.75, line: { color: token("sheet"), width: 1 } },
    text: designs.map((d) => say("design {}: {} kg, resolvable change {} g", d.number, places(d.mass_kg, 3), places(d.resolvable_24h_g, 3))), hovertemplate: "%{text}<br>%{x:.0f}, %{y:.2f} mm<extra></extra>",
  }], plotLayout({
    margin: { l: 60, r: 12, t: 8, b: 48 },
    xaxis: plotAxis(say("cost, {}; larger points weigh more", shown.currency)), yaxis: plotAxis(say("margin to the allowed deflection, mm")),
  }), PLOT_CONFIG);
  canvas.removeAllListeners?.("plotly_click");
  canvas.on("plotly_click", (event) => open(report, designs[event.points[0].pointIndex]));
};

takeUp();
ask([], "time");
