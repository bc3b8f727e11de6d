// What the bench's scripts share: texts in the reader's language, elements, figures, tables, and questions to the server.
import { GERMAN } from "/static/words.js";

const inGerman = document.documentElement.lang === "de";

// A text in the reader's language; holes, {}, are filled in their order. What has no translation stays English rather than vanish.
export const say = (english, ...holes) => {
  let next = 0;
  return (inGerman ? GERMAN[english] ?? english : english).replaceAll("{}", () => holes[next++]);
};

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

// A number as the reader writes it; a true minus, since a hyphen is easily overlooked.
export const signs = (text) => (inGerman ? text.replace(".", ",") : text).replace("-", "−");
// A number with so many decimals, or a dash; nothing has no sign.
export const figure = (value, decimals) => (typeof value === "number" ? signs(value.toFixed(decimals).replace(/^-(?=[0.]*$)/, "")) : "–");
// A number with so many digits, or a dash.
export const digits = (value, n) => {
  if (typeof value !== "number") return "–";
  const size = value === 0 ? 0 : Math.floor(Math.log10(Math.abs(value)));
  return signs(value.toFixed(Math.max(0, n - 1 - size)));
};
// What a plot of these pages has in common: the reader's theme, signs and language.
export const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
// Letters of a plot grow with those of the page.
const letters = () => 0.8 * Number.parseFloat(getComputedStyle(document.documentElement).fontSize);
export const plotAxis = (title) => ({ title: { text: title }, automargin: true, gridcolor: token("grid"), linecolor: token("line"), zeroline: false });
export const plotLayout = (more) => ({ paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", font: { color: token("ink"), size: letters() }, separators: inGerman ? ",." : ".,", hovermode: "closest", ...more });
export const PLOT_CONFIG = { displaylogo: false, displayModeBar: false, responsive: true };

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
  if (!answer.ok) throw new Error(told.problem ?? say("The server answered {}.", answer.status));
  return told;
};

// Says what is wrong where the page has a place for it, or that nothing is.
export const warn = (problem) => { $("problem").hidden = !problem; $("problem").textContent = problem ?? ""; };

// A drawing of the server's as an element.
export const svgOf = (text) => new DOMParser().parseFromString(text.includes("xmlns=") ? text : text.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"'), "image/svg+xml").documentElement;
