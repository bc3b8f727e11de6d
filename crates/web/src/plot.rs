//! Plots as data: a page carries what to draw, the script draws it in the colours of the reader's theme.
//!
//! Colours are named by what they mean ([`Ink`]); the style sheet says what they look like.

use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use crate::words::Reader;

/// What a line or point means; the style sheet gives it its colour, and shape or dash says it again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ink {
    /// The main thing.
    Main,
    /// The second thing to compare.
    Second,
    /// The third.
    Third,
    /// Limits.
    Limit,
    /// What is not to be believed, or in the background.
    Quiet,
}

/// How a series is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// A line.
    Line,
    /// A dashed line.
    Dashed,
    /// Steps that hold until the next point.
    Steps,
    /// A dashed limit that jumps right behind the point before and holds up to the next.
    LimitSteps,
    /// Points.
    Points,
    /// Open points.
    OpenPoints,
    /// Points joined by a line.
    PointsAndLine,
}

/// A coordinate: a number, or a time as text.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Coordinate {
    /// A number.
    Number(f64),
    /// A time, RFC 3339, or a name.
    Text(String),
}

impl From<f64> for Coordinate {
    fn from(value: f64) -> Self {
        Self::Number(value)
    }
}

impl From<String> for Coordinate {
    fn from(value: String) -> Self {
        Self::Text(value)
    }
}

/// Times along an axis: on the reader's clock, which the plot library draws as it is told.
#[derive(Debug, Clone)]
pub struct TimeAxis {
    /// Title, with the name of the clock.
    pub title: String,
    zone: jiff::tz::TimeZone,
}

impl TimeAxis {
    /// UTC.
    #[must_use]
    pub fn utc(reader: Reader) -> Self {
        Self { title: format!("{} (UTC)", reader.say("time")), zone: jiff::tz::TimeZone::UTC }
    }

    /// The clock on the wall.
    #[must_use]
    pub fn local(title: String, zone: jiff::tz::TimeZone) -> Self {
        Self { title, zone }
    }

    /// A time on the axis.
    #[must_use]
    pub fn at(&self, time: jiff::Timestamp) -> Coordinate {
        Coordinate::Text(time.to_zoned(self.zone.clone()).strftime("%Y-%m-%dT%H:%M:%S").to_string())
    }
}

/// One series.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// Name in the legend.
    pub name: String,
    /// Colour by meaning.
    pub ink: Ink,
    /// Shape.
    pub mark: Mark,
    /// Along.
    pub x: Vec<Coordinate>,
    /// Up; `None` is a gap.
    pub y: Vec<Option<f64>>,
    /// Half length of an error bar at each point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub half: Option<Vec<f64>>,
    /// What to say at each point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<Vec<String>>,
}

/// A band between two curves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Band {
    /// Name in the legend; empty: not in the legend.
    pub name: String,
    /// Colour by meaning.
    pub ink: Ink,
    /// Along.
    pub x: Vec<Coordinate>,
    /// Lower edge.
    pub low: Vec<f64>,
    /// Upper edge.
    pub high: Vec<f64>,
}

/// A plot: axes with units, bands below, series above.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plot {
    /// Along, with unit.
    pub x_title: String,
    /// Up, with unit.
    pub y_title: String,
    /// Whether the axis along is time.
    pub x_is_time: bool,
    /// Range of the axis up; `None`: all that is drawn.
    pub y_range: Option<[f64; 2]>,
    /// Bands.
    pub bands: Vec<Band>,
    /// Series.
    pub series: Vec<Series>,
}

/// The plot as a figure: what it shows in words, and the data for the script.
///
/// `id` must be unique on its page and plain letters; `caption` says what is to be seen, for those who cannot see it.
#[must_use]
pub fn figure(reader: Reader, id: &str, caption: &str, plot: &Plot) -> Markup {
    // A closing tag inside a text must not end the data element early.
    let data = serde_json::to_string(plot).unwrap_or_else(|_| "null".into()).replace('<', "\\u003c");
    html! {
        figure.plot {
            div.canvas #(id) data-plot=(format!("{id}-data")) role="img" aria-label=(caption) {
                p.waiting { (reader.say("The plot is being drawn; it needs the page's script.")) }
            }
            script type="application/json" id=(format!("{id}-data")) { (PreEscaped(data)) }
            figcaption { (caption) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_in_a_plot_cannot_leave_its_data_element() {
        let plot = Plot {
            x_title: "</script><script>alert(1)".into(),
            y_title: "kg".into(),
            x_is_time: false,
            y_range: None,
            bands: vec![],
            series: vec![],
        };
        let html = figure(Reader::ENGLISH, "f", "a figure", &plot).into_string();
        assert_eq!(html.matches("</script>").count(), 1, "{html}");
    }
}
