//! A drawing as an SVG of its own, full size when printed at 100 %.

use std::fmt::Write as _;

use super::{Drawing, Layer, Shape};
use crate::svg::escape;

/// Room around the drawing, mm.
const MARGIN_MM: f64 = 15.0;

/// Every rule is bound to drawings of this kind: a page that holds one keeps its own lines and letters.
const STYLE: &str = "svg.workshop line, svg.workshop circle { fill: none; stroke: #000; stroke-width: 0.7 } \
    svg.workshop text { font-family: sans-serif; fill: #000 } svg.workshop .OUTLINE { stroke-width: 1.4 } \
    svg.workshop .CELL { stroke: #a01818 } svg.workshop .RIB, svg.workshop .SECTION { stroke: #555; stroke-dasharray: 8 5 } \
    svg.workshop line.DIMENSION { stroke: #1d4f80; stroke-width: 0.4 } svg.workshop text.DIMENSION { fill: #1d4f80 }";

/// The file.
#[must_use]
pub fn write(drawing: &Drawing) -> String {
    let (low, high) = drawing.extent();
    let [left, top] = [low[0] - MARGIN_MM, -high[1] - MARGIN_MM];
    let [width, height] = [high[0] - low[0] + 2.0 * MARGIN_MM, high[1] - low[1] + 2.0 * MARGIN_MM];
    let mut out = String::new();
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "<svg class=\"workshop\" xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.1}mm\" height=\"{height:.1}mm\" \
         viewBox=\"{left:.1} {top:.1} {width:.1} {height:.1}\">\n<title>{}</title>\n\
         <style>{STYLE}</style>\n\
         <rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{height:.1}\" fill=\"#fff\"/>",
        escape(&drawing.title)
    );
    for mark in &drawing.marks {
        shape(&mut out, mark.layer, &mark.shape);
    }
    out.push_str("</svg>\n");
    out
}

/// y turns over: up in a drawing, down in the file.
fn shape(out: &mut String, layer: Layer, shape: &Shape) {
    let class = layer.name();
    let _ = match shape {
        Shape::Line([x0, y0], [x1, y1]) => {
            writeln!(out, r#"<line class="{class}" x1="{x0}" y1="{}" x2="{x1}" y2="{}"/>"#, -y0, -y1)
        }
        Shape::Circle([x, y], r) => writeln!(out, r#"<circle class="{class}" cx="{x}" cy="{}" r="{r}"/>"#, -y),
        Shape::Text { at: [x, y], height, words, middle, upright } => {
            let anchor = if *middle { r#" text-anchor="middle""# } else { "" };
            let turn = if *upright { format!(r#" transform="rotate(-90 {x} {})""#, -y) } else { String::new() };
            // Capitals are about 0.72 of a font's size.
            let size = height / 0.72;
            let words = escape(words);
            writeln!(
                out,
                r#"<text class="{class}" xml:space="preserve" x="{x}" y="{}" font-size="{size:.2}"{anchor}{turn}>{words}</text>"#,
                -y
            )
        }
    };
}

#[cfg(test)]
mod tests {
    use super::STYLE;

    #[test]
    fn the_style_touches_nothing_outside_the_drawing() {
        for rule in STYLE.split('}').filter(|r| !r.trim().is_empty()) {
            let selectors = rule.split('{').next().unwrap_or_default();
            assert!(selectors.split(',').all(|s| s.trim().starts_with("svg.workshop ")), "{rule}");
        }
    }
}
