//! What stands in a chart: inks by meaning, marks by shape, and the key that names them.
//!
//! Colour is never alone: each ink has its own shape of point and its own dash, so a chart reads on a grey print.

use std::fmt::Write as _;

use super::axis::as_f64;
use super::escape;

/// What a line or point means; the style sheet gives it its colour, its shape says it again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// The main thing: round points.
    Main,
    /// The second thing to compare: square points.
    Second,
    /// The third: diamonds.
    Third,
    /// Limits: crosses, dashes.
    Limit,
    /// What is in the background: small triangles, dots.
    Quiet,
}

impl Ink {
    pub(crate) fn class(self) -> &'static str {
        match self {
            Self::Main => "ink-main",
            Self::Second => "ink-second",
            Self::Third => "ink-third",
            Self::Limit => "ink-limit",
            Self::Quiet => "ink-quiet",
        }
    }

    /// A point of this ink as a path about (x, y).
    pub(crate) fn point(self, x: f64, y: f64) -> String {
        match self {
            Self::Main => format!("M{:.1} {y:.1}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0z", x - 4.0),
            Self::Second => format!("M{:.1} {:.1}h7v7h-7z", x - 3.5, y - 3.5),
            Self::Third => format!("M{x:.1} {:.1}l5 5l-5 5l-5 -5z", y - 5.0),
            Self::Limit => format!("M{:.1} {:.1}l8 8m0 -8l-8 8", x - 4.0, y - 4.0),
            Self::Quiet => format!("M{x:.1} {:.1}l3.6 6h-7.2z", y - 3.6),
        }
    }
}

/// How a series is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Filled points.
    Points,
    /// Open points.
    OpenPoints,
    /// A line.
    Line,
    /// A dashed line.
    Dashed,
    /// A dashed line of steps: each value holds from the point before up to its own (a limit by bands that include their upper end).
    StepsUpTo,
    /// A line of steps: each value holds until the next point.
    Steps,
    /// Filled points joined by a line.
    PointsAndLine,
}

impl Mark {
    pub(crate) fn has_points(self) -> bool {
        matches!(self, Self::Points | Self::OpenPoints | Self::PointsAndLine)
    }

    pub(crate) fn has_line(self) -> bool {
        !matches!(self, Self::Points | Self::OpenPoints)
    }

    pub(crate) fn line_attributes(self, ink: Ink) -> &'static str {
        match (self, ink) {
            (Self::Dashed | Self::StepsUpTo, _) => r#"stroke-width="1.5" stroke-dasharray="7 4""#,
            (_, Ink::Main) => r#"stroke-width="1.8""#,
            (_, Ink::Second) => r#"stroke-width="1.8" stroke-dasharray="12 3""#,
            (_, Ink::Third) => r#"stroke-width="1.8" stroke-dasharray="9 3 2 3""#,
            (_, Ink::Limit) => r#"stroke-width="1.5""#,
            (_, Ink::Quiet) => r#"stroke-width="1.2" stroke-dasharray="2 3""#,
        }
    }

    pub(crate) fn point_attributes(self, ink: Ink) -> &'static str {
        match (self, ink) {
            (_, Ink::Limit) => r#"fill="none" stroke="currentColor" stroke-width="1.8""#,
            (Self::OpenPoints, _) => r#"fill="none" stroke="currentColor" stroke-width="1.5""#,
            _ => r#"fill="currentColor" stroke="none""#,
        }
    }
}

/// A swatch of the key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Swatch {
    Drawn(Ink, Mark),
    Band(Ink),
    /// A bar, by the number of its series.
    Bar(Ink, usize),
}

/// Place for a swatch before its words.
const SWATCH: f64 = 34.0;
/// Distance of the key's lines.
pub(crate) const KEY_LINE: f64 = 20.0;

/// Lays out the key below a chart: entries in lines of at most `width`; gives the SVG from `top` on, and its height.
pub(crate) fn key(entries: &[(&str, Swatch)], left: f64, width: f64, top: f64) -> (String, f64) {
    let mut out = String::new();
    let (mut x, mut y) = (left, top + 12.0);
    let mut lines = 0.0;
    for (name, swatch) in entries.iter().filter(|(name, _)| !name.is_empty()) {
        let wide = SWATCH + text_width(name) + 18.0;
        if lines > 0.0 && x + wide > left + width {
            x = left;
            y += KEY_LINE;
            lines += 1.0;
        }
        lines = f64::max(lines, 1.0);
        draw_swatch(&mut out, *swatch, x, y - 4.0);
        let _ = write!(out, r#"<text x="{:.1}" y="{y:.1}">{}</text>"#, x + SWATCH, escape(name));
        x += wide;
    }
    (out, lines * KEY_LINE)
}

fn draw_swatch(out: &mut String, swatch: Swatch, x: f64, y: f64) {
    let right = x + 26.0;
    let _ = match swatch {
        Swatch::Drawn(ink, mark) => {
            let _ = write!(out, r#"<g class="{}">"#, ink.class());
            if mark.has_line() {
                let _ = write!(
                    out,
                    r#"<path fill="none" stroke="currentColor" {} d="M{x:.1} {y:.1}H{right:.1}"/>"#,
                    mark.line_attributes(ink)
                );
            }
            if mark.has_points() {
                let _ = write!(out, r#"<path {} d="{}"/>"#, mark.point_attributes(ink), ink.point(x + 13.0, y));
            }
            write!(out, "</g>")
        }
        Swatch::Band(ink) => write!(
            out,
            r#"<rect class="{}" {BAND_ATTRIBUTES} x="{x:.1}" y="{:.1}" width="26" height="12"/>"#,
            ink.class(),
            y - 6.0
        ),
        Swatch::Bar(ink, number) => write!(
            out,
            r#"<rect class="{}" {} x="{x:.1}" y="{:.1}" width="26" height="12"/>"#,
            ink.class(),
            bar_attributes(number),
            y - 6.0
        ),
    };
}

/// A band: a light fill with edges, which a grey print keeps.
pub(crate) const BAND_ATTRIBUTES: &str =
    r#"fill="currentColor" fill-opacity="0.13" stroke="currentColor" stroke-opacity="0.5" stroke-width="0.8""#;

/// The first bar of a row is full, the second light with an edge, the third an edge alone.
pub(crate) fn bar_attributes(number: usize) -> &'static str {
    match number {
        0 => r#"fill="currentColor" stroke="currentColor" stroke-width="1""#,
        1 => r#"fill="currentColor" fill-opacity="0.3" stroke="currentColor" stroke-width="1""#,
        _ => r#"fill="none" stroke="currentColor" stroke-width="1.2""#,
    }
}

/// Width of a text of a chart, roughly and rather too wide: letters of sans-serif faces at 13 px are about 7 px.
pub(crate) fn text_width(text: &str) -> f64 {
    7.2 * as_f64(text.chars().count())
}
