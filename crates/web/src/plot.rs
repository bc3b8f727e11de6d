//! Plots as data: a page carries what to draw, the script draws it in the colours of the reader's theme.
//!
//! Colours are named by what they mean ([`Ink`]); the style sheet says what they look like.

use jiff::Timestamp;
use jiff::tz::TimeZone;
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

/// Times along an axis: on the reader's clock, which the plot library draws as it is told. One offset from UTC holds over the whole axis: by
/// the clock on the wall a curve would run back over itself in the night in which clocks go back.
#[derive(Debug, Clone)]
pub struct TimeAxis {
    /// Title, with the name of the clock.
    pub title: String,
    zone: TimeZone,
}

impl TimeAxis {
    /// UTC.
    #[must_use]
    pub fn utc(reader: Reader) -> Self {
        Self { title: format!("{} (UTC)", reader.say("time")), zone: TimeZone::UTC }
    }

    /// The clock on the wall as it goes at `now`; the title says its offset where another is in force at one of `ends`.
    #[must_use]
    pub fn local(reader: Reader, zone: &TimeZone, now: Timestamp, ends: [Timestamp; 2]) -> Self {
        let offset = zone.to_offset(now);
        let (time, name) = (reader.say("time"), zone.iana_name().unwrap_or("UTC"));
        let title = if ends.iter().all(|end| zone.to_offset(*end) == offset) {
            format!("{time} ({name})")
        } else {
            format!("{time} ({name}, {})", now.to_zoned(zone.clone()).strftime("%:z"))
        };
        Self { title, zone: TimeZone::fixed(offset) }
    }

    /// A time on the axis.
    #[must_use]
    pub fn at(&self, time: Timestamp) -> Coordinate {
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

    /// Oslo's clocks go from 03:00 back to 02:00 on 26 October 2031 (IANA time zone database, rule EU).
    #[test]
    fn in_the_night_in_which_clocks_go_back_the_axis_goes_on() {
        let zone = TimeZone::get("Europe/Oslo").unwrap();
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        let times = ["2031-10-25T23:30:00Z", "2031-10-26T00:30:00Z", "2031-10-26T01:30:00Z"].map(at);
        let axis = TimeAxis::local(Reader::ENGLISH, &zone, times[2], [times[0], times[2]]);
        let text = |time| match axis.at(time) {
            Coordinate::Text(text) => text,
            Coordinate::Number(number) => number.to_string(),
        };
        let along = times.map(text);
        assert!(along.is_sorted_by(|a, b| a < b), "{along:?}");
        // What is newest stands at the time that the wall shows.
        assert_eq!(along[2], "2031-10-26T02:30:00");
        assert_eq!(axis.title, "time (Europe/Oslo, +01:00)");
        let day = TimeAxis::local(Reader::ENGLISH, &zone, times[0], [times[0], times[0]]);
        assert_eq!(day.title, "time (Europe/Oslo)");
    }

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
