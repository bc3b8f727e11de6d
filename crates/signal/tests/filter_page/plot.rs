//! Two panels of one line each, as SVG without styles, so that any page can take it in.

use std::fmt::Write as _;

/// Ends of an axis, and its ticks with their words.
pub(crate) struct Axis {
    pub(crate) from: f64,
    pub(crate) to: f64,
    pub(crate) ticks: &'static [(f64, &'static str)],
}

/// A panel.
pub(crate) struct Panel {
    pub(crate) title: &'static str,
    pub(crate) x_label: &'static str,
    pub(crate) y_label: &'static str,
    pub(crate) x: Axis,
    pub(crate) y: Axis,
    pub(crate) points: Vec<[f64; 2]>,
}

const WIDTH: f64 = 330.0;
const HEIGHT: f64 = 220.0;
const LEFT: f64 = 62.0;
const TOP: f64 = 34.0;
const INK: &str = "#333333";
const GRID: &str = "#dddddd";
const LINE: &str = "#0b5fa5";

/// The two side by side.
pub(crate) fn two_panels(left: &Panel, right: &Panel) -> String {
    let panel_px = LEFT + WIDTH + 18.0;
    let (w, h) = (2.0 * panel_px, TOP + HEIGHT + 52.0);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" role=\"img\" aria-label=\"{}; {}\" font-family=\"sans-serif\" font-size=\"13\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>\n",
        left.title, right.title
    );
    panel(&mut out, left, LEFT);
    panel(&mut out, right, panel_px + LEFT);
    out.push_str("</svg>\n");
    out
}

fn panel(out: &mut String, panel: &Panel, left: f64) {
    let at_x = |x: f64| left + WIDTH * (x - panel.x.from) / (panel.x.to - panel.x.from);
    let at_y = |y: f64| TOP + HEIGHT * (panel.y.to - y) / (panel.y.to - panel.y.from);
    let bottom = TOP + HEIGHT;
    // Writing to a String cannot fail.
    for (x, word) in panel.x.ticks {
        let px = at_x(*x);
        let _ = writeln!(out, "<path d=\"M{px:.1} {TOP}V{bottom}\" stroke=\"{GRID}\"/>");
        let _ = writeln!(
            out,
            "<text x=\"{px:.1}\" y=\"{:.1}\" text-anchor=\"middle\" fill=\"{INK}\">{word}</text>",
            bottom + 18.0
        );
    }
    for (y, word) in panel.y.ticks {
        let px = at_y(*y);
        let _ = writeln!(out, "<path d=\"M{left} {px:.1}H{:.1}\" stroke=\"{GRID}\"/>", left + WIDTH);
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"{INK}\">{word}</text>",
            left - 6.0,
            px + 4.0
        );
    }
    let line: Vec<String> = panel
        .points
        .iter()
        .filter(|[x, y]| (panel.x.from..=panel.x.to).contains(x) && *y >= panel.y.from)
        .map(|[x, y]| format!("{:.1},{:.1}", at_x(*x), at_y(*y)))
        .collect();
    let _ =
        writeln!(out, "<polyline points=\"{}\" fill=\"none\" stroke=\"{LINE}\" stroke-width=\"2\"/>", line.join(" "));
    let middle = left + WIDTH / 2.0;
    let _ = writeln!(
        out,
        "<text x=\"{middle}\" y=\"20\" text-anchor=\"middle\" fill=\"{INK}\" font-weight=\"bold\">{}</text>",
        panel.title
    );
    let _ = writeln!(
        out,
        "<text x=\"{middle}\" y=\"{:.1}\" text-anchor=\"middle\" fill=\"{INK}\">{}</text>",
        bottom + 40.0,
        panel.x_label
    );
    let (x, y) = (left - 48.0, TOP + HEIGHT / 2.0);
    let _ = writeln!(
        out,
        "<text x=\"{x}\" y=\"{y}\" text-anchor=\"middle\" fill=\"{INK}\" transform=\"rotate(-90 {x} {y})\">{}</text>",
        panel.y_label
    );
}
