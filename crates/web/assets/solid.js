// Draws a bed with its deck: sections at their angles, seen from the patient's right and above.
import { say } from "/static/shared.js";

// Plates carry `step`, their shade from 0 to 4, and `title`; angles are degrees by the name of a section.
export const drawBed = (() => {
  const svgEl = (tag, attributes, ...children) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.append(...children);
    return made;
  };
  // Each section turns about the hinge towards the one that stays level.
  const level = (sections) => {
    const still = sections.findIndex(({ angle_deg: [low, high] }) => low === 0 && high === 0);
    return still >= 0 ? still : Math.floor(sections.length / 2);
  };
  return (sections, plates, angles) => {
    const still = level(sections);
    const starts = [];
    let along = 0;
    for (const section of sections) { starts.push(along); along += section.length_mm; }
    const way = sections.map((section) => ((angles[section.name] ?? 0) * Math.PI) / 180);
    // Place of a section's hinge side, worked outward from the level one.
    const hinge = [];
    hinge[still] = [starts[still], 0];
    for (let i = still + 1; i < sections.length; i += 1) {
      const length = sections[i - 1].length_mm;
      hinge[i] = i - 1 === still ? [starts[i], 0] : [hinge[i - 1][0] + length * Math.cos(way[i - 1]), hinge[i - 1][1] + length * Math.sin(way[i - 1])];
    }
    for (let i = still - 1; i >= 0; i -= 1) {
      const length = sections[i + 1].length_mm;
      hinge[i] = i + 1 === still ? [starts[i + 1], 0] : [hinge[i + 1][0] - length * Math.cos(way[i + 1]), hinge[i + 1][1] + length * Math.sin(way[i + 1])];
    }
    const place = (i, x, y, up = 0) => {
      if (i === still) return [x, y, up];
      const [hx, hz] = hinge[i];
      const [c, s] = [Math.cos(way[i]), Math.sin(way[i])];
      const d = i > still ? x - starts[i] : starts[i] + sections[i].length_mm - x;
      const side = i > still ? 1 : -1;
      return [hx + side * (d * c - up * s), y, hz + d * s + up * c];
    };
    const width = Math.max(...plates.map((p) => p.origin_mm[1] + p.size_mm[1]));
    // Looked at from the patient's right and above: across goes back, half as long.
    const flat = ([x, y, z]) => [x + 0.42 * y, -z - 0.34 * y];
    const points = [];
    const shape = (corners, attributes, title) => {
      const at = corners.map(flat);
      points.push(...at);
      const made = svgEl("polygon", { ...attributes, points: at.map((p) => p.map((v) => v.toFixed(1)).join(",")).join(" ") });
      if (title) made.append(svgEl("title", {}, title));
      return made;
    };
    const parts = [];
    sections.forEach((section, i) => {
      const [a, b] = [starts[i], starts[i] + section.length_mm];
      parts.push(shape([place(i, a, 0), place(i, b, 0), place(i, b, width), place(i, a, width)], { class: "bed" }, section.name));
    });
    const far = [...plates].sort((a, b) => b.origin_mm[1] - a.origin_mm[1]);
    for (const plate of far) {
      const i = Math.max(0, sections.findIndex((s) => s.name === plate.section));
      const [x, y] = plate.origin_mm;
      const [lx, ly] = plate.size_mm;
      const up = 60;
      parts.push(shape([place(i, x, y, up), place(i, x + lx, y, up), place(i, x + lx, y + ly, up), place(i, x, y + ly, up)], { class: `plate heat-${plate.step}` },
        plate.title));
      for (const cell of plate.cells) {
        const [cx, cy] = flat(place(i, x + cell.at_mm[0], y + cell.at_mm[1], up));
        parts.push(svgEl("circle", { class: "dot", cx: cx.toFixed(1), cy: cy.toFixed(1), r: 16 }));
      }
    }
    const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
    const box = [Math.min(...xs) - 40, Math.min(...ys) - 40, Math.max(...xs) - Math.min(...xs) + 80, Math.max(...ys) - Math.min(...ys) + 80];
    const told = sections.map((s) => say("{} at {}°", s.name, Math.round(angles[s.name] ?? 0))).join(", ");
    return svgEl("svg", { class: "solid", viewBox: box.map((v) => v.toFixed(0)).join(" "), role: "img", "aria-label": say("The deck on its bed: {}", told) }, ...parts);
  };
})();
