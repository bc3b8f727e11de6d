// What the bench's scripts share: elements, figures, tables, and questions to the server.

export const $ = (id) => document.getElementById(id);

// An element: attributes named `on…` listen; children that are null are left out.
export const el = (tag, attributes = {}, ...children) => {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value !== undefined && value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((c) => c !== null));
  return made;
};

// A number with so many decimals, or a dash; a true minus, since a hyphen is easily overlooked.
export const figure = (value, decimals) => (typeof value === "number" ? value.toFixed(decimals).replace("-", "−") : "–");

// A table that scrolls by itself. A head that is `{ words }` stands over words, not figures. A row is a list of cells, or
// `{ mark, cells }` where it may be the step that is under way; a cell is a text, or a td made by the caller.
export const table = (caption, head, rows) => {
  const title = (h) => el("th", { scope: "col", class: h.words !== undefined && "words" }, h.words ?? h);
  const cell = (given, i) => {
    if (given instanceof HTMLTableCellElement) return given;
    if (i === 0) return el("th", { scope: "row" }, given);
    return el("td", { class: head[i].words !== undefined && "words" }, given);
  };
  const row = (given) => {
    const { mark, cells } = Array.isArray(given) ? { cells: given } : given;
    return el("tr", { "aria-current": mark && "step" }, ...cells.map(cell));
  };
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": caption },
    el("table", {}, el("caption", {}, caption), el("thead", {}, el("tr", {}, ...head.map(title))), el("tbody", {}, ...rows.map(row))));
};

// Asks the server: with a body as a change, without one as a look. `silent` is what to say where it does not answer.
export const asking = (silent) => async (path, body) => {
  let answer;
  try {
    answer = await fetch(path, body === undefined ? {} : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
  } catch {
    throw new Error(silent);
  }
  const told = await answer.json();
  if (!answer.ok) throw new Error(told.problem ?? `The server answered ${answer.status}.`);
  return told;
};

// Says what is wrong where the page has a place for it, or that nothing is.
export const say = (problem) => { $("problem").hidden = !problem; $("problem").textContent = problem ?? ""; };

// How far the reading is: in words, as a bar, and what still moves.
export const drawSettling = (live, isDone) => {
  $("settling-bar").value = live.seconds ?? 0;
  $("settling-bar").hidden = isDone;
  const words = isDone ? "" : live.silent ? "▲ Nothing comes from the deck: look at plug and cable." : live.settled ? "✓ settled" : (live.seconds ?? 0) < live.of_seconds - 0.6 ? `listening: ${figure(live.seconds ?? 0, 0)} of ${live.of_seconds} s` : "○ not settled yet";
  if ($("settling-words").textContent !== words) $("settling-words").textContent = words;
  $("drift").textContent = isDone || live.drift_g === null ? "" : `Most that a cell still moves: ${figure(live.drift_g, 1)} g in half a reading.`;
};

// The server's drawing of what stands where, with its words; without one the place is empty.
export const putDrawing = (drawing, words) => {
  $("drawing").replaceChildren();
  if (drawing) $("drawing").append(new DOMParser().parseFromString(drawing.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"'), "image/svg+xml").documentElement);
  $("drawing-words").textContent = drawing ? words : "";
};
