// Draws each plot that the page carries as data, in the colours of the style sheet, and again when the theme,
// the width or the medium changes.
"use strict";
(() => {
  const inGerman = document.documentElement.lang === "de";
  if (inGerman) Plotly.register({
    moduleType: "locale",
    name: "de",
    dictionary: { "Autoscale": "Alles zeigen", "Download plot as a png": "Als Bild speichern", "Download plot": "Speichern", "Pan": "Verschieben", "Reset axes": "Achsen zurücksetzen", "Zoom": "Ausschnitt", "Zoom in": "Näher", "Zoom out": "Weiter" },
    format: {
      days: ["Sonntag", "Montag", "Dienstag", "Mittwoch", "Donnerstag", "Freitag", "Samstag"], shortDays: ["So", "Mo", "Di", "Mi", "Do", "Fr", "Sa"],
      months: ["Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November", "Dezember"],
      shortMonths: ["Jan", "Feb", "Mär", "Apr", "Mai", "Jun", "Jul", "Aug", "Sep", "Okt", "Nov", "Dez"],
      date: "%d.%m.%Y", year: "%Y", month: "%b %Y", dayMonth: "%-d. %b", dayMonthYear: "%-d. %b %Y", decimal: ",", thousands: ".",
    },
  });
  // The library's own English writes days the American way.
  else Plotly.register({ moduleType: "locale", name: "en-GB", dictionary: {}, format: { date: "%d/%m/%Y", dayMonth: "%-d %b", dayMonthYear: "%-d %b %Y" } });
  const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
  const faint = (colour) => `color-mix(in srgb, ${colour} 22%, transparent)`;

  // The plot library wants plain colours: let the browser work a mix out.
  const probe = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  const plain = (colour) => {
    probe.clearRect(0, 0, 1, 1);
    probe.fillStyle = colour;
    probe.fillRect(0, 0, 1, 1);
    const [r, g, b, a] = probe.getImageData(0, 0, 1, 1).data;
    return `rgba(${r},${g},${b},${(a / 255).toFixed(3)})`;
  };

  const shapes = { main: "circle", second: "square", third: "diamond", limit: "x-thin", quiet: "circle" };
  const trace = (series) => {
    const colour = token(series.ink);
    const points = ["points", "open-points", "points-and-line"].includes(series.mark);
    const lines = ["line", "dashed", "steps", "limit-steps", "points-and-line"].includes(series.mark);
    const out = {
      type: "scatter",
      name: series.name,
      showlegend: series.name !== "",
      x: series.x,
      y: series.y,
      mode: [lines && "lines", points && "markers"].filter(Boolean).join("+"),
      connectgaps: false,
      line: {
        color: colour,
        width: series.ink === "main" ? 2.2 : 1.6,
        dash: ["dashed", "limit-steps"].includes(series.mark) ? "dash" : "solid",
        shape: { steps: "hv", "limit-steps": "vh" }[series.mark] ?? "linear",
      },
      marker: { color: colour, size: 8, symbol: shapes[series.ink] + (series.mark === "open-points" ? "-open" : ""), line: { width: 1.5, color: colour } },
    };
    if (series.half) out.error_y = { type: "data", array: series.half, color: colour, thickness: 1.2, width: 3 };
    if (series.text) Object.assign(out, { text: series.text, hovertemplate: "%{text}<extra></extra>" });
    return out;
  };

  const band = (b) => ({
    type: "scatter",
    name: b.name,
    showlegend: b.name !== "",
    x: [...b.x, ...b.x.slice().reverse()],
    y: [...b.high, ...b.low.slice().reverse()],
    mode: "lines",
    line: { width: 0 },
    fill: "toself",
    fillcolor: plain(faint(token(b.ink))),
    hoverinfo: "skip",
  });

  const axis = (title, automargin) => ({
    title: { text: title, standoff: 10 },
    automargin,
    gridcolor: token("grid"),
    linecolor: token("line"),
    zerolinecolor: token("line"),
    tickcolor: token("line"),
  });

  // Paper is laid out after the drawing: what is printed has a width that every paper holds.
  const PAPER_PX = 640;
  const onPaper = () => matchMedia("print").matches;

  const draw = (canvas) => {
    const plot = JSON.parse(document.getElementById(canvas.dataset.plot).textContent);
    const letters = 0.8 * Number.parseFloat(getComputedStyle(document.documentElement).fontSize);
    const isNarrow = canvas.clientWidth < 520;
    // Over time and on a wide page the letters say what room their two lines of days and the figures need: where the library finds that out,
    // it lays all out twice, a third of the whole drawing.
    const isPlain = plot.x_is_time && !isNarrow && !onPaper();
    const xaxis = axis(plot.x_title, !isPlain);
    if (plot.x_is_time) xaxis.type = "date";
    const yaxis = axis(plot.y_title, !isPlain);
    // Nor need every figure be measured whether it stays beside its axis, or has to be turned: they are short and have that room.
    if (isPlain) {
      Object.assign(xaxis, { tickangle: 0, ticklabeloverflow: "allow" });
      yaxis.ticklabeloverflow = "allow";
    }
    if (plot.y_range) yaxis.range = plot.y_range;
    const layout = {
      paper_bgcolor: "rgba(0,0,0,0)",
      plot_bgcolor: "rgba(0,0,0,0)",
      font: { color: token("ink"), family: getComputedStyle(document.body).fontFamily, size: letters },
      // A narrow plot stacks its legend: leave it room above.
      margin: { l: isPlain ? 6 * letters : 60, r: isPlain ? 2 * letters : 12, t: isPlain ? 3 * letters : isNarrow && !onPaper() ? 24 + 20 * [...plot.series, ...plot.bands].filter((shown) => shown.name).length : 8, b: isPlain ? 5.4 * letters : 48 },
      xaxis,
      yaxis,
      legend: { orientation: "h", y: 1.02, yanchor: "bottom", x: 0 },
      modebar: { bgcolor: "rgba(0,0,0,0)", color: token("soft"), activecolor: token("main") },
      hovermode: "closest",
      separators: inGerman ? ",." : ".,",
      hoverlabel: { bgcolor: token("sheet"), bordercolor: token("line"), font: { color: token("ink") } },
    };
    if (onPaper()) Object.assign(layout, { autosize: false, width: PAPER_PX, height: canvas.clientHeight });
    else layout.autosize = true;
    const config = { locale: inGerman ? "de" : "en-GB", displaylogo: false, displayModeBar: matchMedia("(hover: hover)").matches ? "hover" : false, responsive: true, scrollZoom: false, modeBarButtonsToRemove: ["lasso2d", "select2d"] };
    canvas.querySelector(".waiting")?.remove();
    return Plotly.react(canvas, [...plot.bands.map(band), ...plot.series.map(trace)], layout, config);
  };

  const drawAll = () => Promise.all([...document.querySelectorAll("[data-plot]")].map(draw));
  const begun = performance.now();
  // How long the first drawing took, for who measures.
  drawAll().then(() => { document.documentElement.dataset.drawnMs = String(Math.round(performance.now() - begun)); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
  matchMedia("print").addEventListener("change", () => {
    drawAll();
    if (!onPaper()) document.querySelectorAll("[data-plot]").forEach((canvas) => Plotly.Plots.resize(canvas));
  });
  document.documentElement.dataset.plots = "drawn";
})();
