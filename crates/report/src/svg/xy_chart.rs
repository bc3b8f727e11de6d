//! A chart of points, lines and bands over two axes, for paper and page.
//!
//! Colours come by class from the style sheet (`ink-main`, `ink-limit` …); without one all is black and still told apart by
//! shape and dash. The same chart gives the same text. Nothing is looked up: what is shown is what is passed in.

use std::fmt::Write as _;

use super::axis::{Axis, Laid, as_f64};
use super::escape;
use super::marks::{BAND_ATTRIBUTES, Ink, Mark, Swatch, key, text_width};

/// Width of the drawing; the page scales it to its own.
const WIDTH: f64 = 720.0;
/// Height of the plotting area.
const AREA_HEIGHT: f64 = 300.0;
/// Room above and to the right of the plotting area.
const ROOM: f64 = 14.0;

/// A chart.
#[derive(Debug, Clone, PartialEq)]
pub struct XyChart {
    /// What is shown, in a few words: the name for those who cannot see it.
    pub title: String,
    /// What there is to see, in a sentence or two, for the same.
    pub description: String,
    /// The axis along.
    pub x: Axis,
    /// The axis up.
    pub y: Axis,
    /// Bands, below everything else.
    pub bands: Vec<Band>,
    /// Straight lines right across.
    pub levels: Vec<Level>,
    /// Points and lines.
    pub series: Vec<Series>,
}

/// A band between two curves.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Name in the key; empty: not in the key.
    pub name: String,
    /// Colour by meaning.
    pub ink: Ink,
    /// Along, in order.
    pub x: Vec<f64>,
    /// Lower edge at each x.
    pub low: Vec<f64>,
    /// Upper edge at each x.
    pub high: Vec<f64>,
}

/// A straight line right across the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// Name in the key; empty: not in the key.
    pub name: String,
    /// Colour by meaning.
    pub ink: Ink,
    /// Solid or dashed; other marks are drawn solid.
    pub mark: Mark,
    /// Where.
    pub at: Across,
}

/// Which way a level runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Across {
    /// At one value of the axis up.
    Y(f64),
    /// At one value of the axis along.
    X(f64),
    /// y = slope · x + intercept; straight on linear axes only.
    Line {
        /// Slope.
        slope: f64,
        /// y at x = 0.
        intercept: f64,
    },
}

/// Points of one name. A point that is not finite, or that a logarithmic axis cannot show, is a gap.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// Name in the key; empty: not in the key.
    pub name: String,
    /// Colour by meaning.
    pub ink: Ink,
    /// Shape.
    pub mark: Mark,
    /// The points, in order.
    pub points: Vec<[f64; 2]>,
    /// Lower and upper end of an error bar at each point, values of the axis up; empty: none.
    pub bars: Vec<[f64; 2]>,
}

impl Series {
    /// A series without error bars.
    #[must_use]
    pub fn new(name: impl Into<String>, ink: Ink, mark: Mark, points: Vec<[f64; 2]>) -> Self {
        Self { name: name.into(), ink, mark, points, bars: Vec::new() }
    }
}

impl Level {
    /// A dashed limit at one value of the axis up.
    #[must_use]
    pub fn limit(name: impl Into<String>, at: f64) -> Self {
        Self { name: name.into(), ink: Ink::Limit, mark: Mark::Dashed, at: Across::Y(at) }
    }
}

/// The plotting area and its axes.
struct Area {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    x: Laid,
    y: Laid,
}

impl XyChart {
    /// An empty chart to be filled.
    #[must_use]
    pub fn new(title: impl Into<String>, description: impl Into<String>, x: Axis, y: Axis) -> Self {
        Self {
            title: title.into(),
            description: description.into(),
            x,
            y,
            bands: Vec::new(),
            levels: Vec::new(),
            series: Vec::new(),
        }
    }

    /// The drawing: an `svg` element to stand in a page.
    #[must_use]
    pub fn svg(&self) -> String {
        let (top, bottom) = (ROOM, ROOM + AREA_HEIGHT);
        let y = self.y.lay(self.values_up(), bottom, top);
        let y_ticks = self.y.ticks(&y, 6);
        let widest = y_ticks.iter().map(|t| text_width(&t.1)).fold(0.0, f64::max);
        let left = (widest + 40.0).clamp(56.0, 260.0);
        let right = WIDTH - ROOM;
        let x = self.x.lay(self.values_along(), left, right);
        let area = Area { left, right, top, bottom, x, y };
        let (under, under_height) = self.along(&area);
        let (entries, key_height) = key(&self.entries(), left, right - left, bottom + under_height);
        let height = bottom + under_height + key_height + 6.0;
        let mut out = open(&self.title, &self.description, WIDTH, height);
        for (place, words) in &y_ticks {
            let _ = write!(
                out,
                r##"<path class="grid" stroke="#ddd" d="M{left:.1} {place:.1}H{right:.1}"/><text class="tick" text-anchor="end" x="{:.1}" y="{:.1}">{}</text>"##,
                left - 7.0,
                place + 4.5,
                escape(words)
            );
        }
        out.push_str(&under);
        let _ = write!(
            out,
            r#"<text text-anchor="middle" transform="translate(15 {:.1}) rotate(-90)">{}</text>"#,
            f64::midpoint(top, bottom),
            escape(&self.y.label)
        );
        self.draw_inside(&mut out, &area);
        let _ = write!(
            out,
            r##"<rect class="frame" fill="none" stroke="#777" x="{left:.1}" y="{top:.1}" width="{:.1}" height="{:.1}"/>"##,
            right - left,
            bottom - top
        );
        for series in &self.series {
            self.draw_points(&mut out, &area, series);
        }
        out.push_str(&entries);
        out.push_str("</svg>");
        out
    }

    fn values_along(&self) -> impl Iterator<Item = f64> {
        let points = self.series.iter().flat_map(|s| s.points.iter().filter(|p| self.shows(p)).map(|p| p[0]));
        let bands = self.bands.iter().flat_map(|b| b.x.iter().copied());
        let levels = self.levels.iter().filter_map(|l| if let Across::X(x) = l.at { Some(x) } else { None });
        points.chain(bands).chain(levels)
    }

    fn values_up(&self) -> impl Iterator<Item = f64> {
        let points = self.series.iter().flat_map(|s| {
            let points = s.points.iter().filter(|p| self.shows(p)).map(|p| p[1]);
            points.chain(s.bars.iter().flatten().copied())
        });
        let bands = self.bands.iter().flat_map(|b| b.low.iter().chain(&b.high).copied());
        let levels = self.levels.iter().filter_map(|l| if let Across::Y(y) = l.at { Some(y) } else { None });
        points.chain(bands).chain(levels)
    }

    fn shows(&self, point: &[f64; 2]) -> bool {
        self.x.shows(point[0]) && self.y.shows(point[1])
    }

    fn entries(&self) -> Vec<(&str, Swatch)> {
        let series = self.series.iter().map(|s| (s.name.as_str(), Swatch::Drawn(s.ink, s.mark)));
        let levels = self.levels.iter().map(|l| (l.name.as_str(), Swatch::Drawn(l.ink, l.mark)));
        let bands = self.bands.iter().map(|b| (b.name.as_str(), Swatch::Band(b.ink)));
        series.chain(levels).chain(bands).collect()
    }

    /// Ticks and label of the axis along, and the height that they take.
    fn along(&self, area: &Area) -> (String, f64) {
        let mut out = String::new();
        let ticks = self.x.ticks(&area.x, 7);
        let widest = ticks.iter().map(|t| text_width(&t.1)).fold(0.0, f64::max);
        let named = ticks.iter().filter(|t| !t.1.is_empty()).count();
        // Words that would run into each other stand on end.
        let upright = !self.x.names.is_empty() && widest + 8.0 > (area.right - area.left) / as_f64(named.max(1));
        for (place, words) in &ticks {
            let _ = write!(
                out,
                r##"<path class="grid" stroke="#ddd" d="M{place:.1} {:.1}V{:.1}"/>"##,
                area.top, area.bottom
            );
            let words = escape(words);
            let _ = if upright {
                write!(
                    out,
                    r#"<text class="tick" text-anchor="end" transform="translate({:.1} {:.1}) rotate(-90)">{words}</text>"#,
                    place + 4.5,
                    area.bottom + 7.0
                )
            } else {
                write!(
                    out,
                    r#"<text class="tick" text-anchor="middle" x="{place:.1}" y="{:.1}">{words}</text>"#,
                    area.bottom + 18.0
                )
            };
        }
        let tick_height = if upright { widest + 10.0 } else { 20.0 };
        let _ = write!(
            out,
            r#"<text text-anchor="middle" x="{:.1}" y="{:.1}">{}</text>"#,
            f64::midpoint(area.left, area.right),
            area.bottom + tick_height + 18.0,
            escape(&self.x.label)
        );
        (out, tick_height + 28.0)
    }

    /// Bands and lines, cut off at the edge of the plotting area.
    fn draw_inside(&self, out: &mut String, area: &Area) {
        let [w, h] = [area.right - area.left, area.bottom - area.top];
        let _ = write!(
            out,
            r#"<svg x="{0:.1}" y="{1:.1}" width="{w:.1}" height="{h:.1}" viewBox="{0:.1} {1:.1} {w:.1} {h:.1}" overflow="hidden">"#,
            area.left, area.top
        );
        for band in &self.bands {
            self.draw_band(out, area, band);
        }
        for level in &self.levels {
            let ends = match level.at {
                Across::Y(y) => self.y.shows(y).then(|| [[area.left, area.y.place(y)], [area.right, area.y.place(y)]]),
                Across::X(x) => self.x.shows(x).then(|| [[area.x.place(x), area.top], [area.x.place(x), area.bottom]]),
                Across::Line { slope, intercept } => area.straight(slope, intercept, &self.y),
            };
            let Some(ends) = ends else { continue };
            line(out, level.ink, level.mark, &path(&ends));
        }
        for series in self.series.iter().filter(|s| s.mark.has_line()) {
            let mut d = String::new();
            for run in series.points.split(|p| !self.shows(p)).filter(|run| !run.is_empty()) {
                let places: Vec<[f64; 2]> = run.iter().map(|p| [area.x.place(p[0]), area.y.place(p[1])]).collect();
                d.push_str(&path(&stepped(&thinned(&places), series.mark)));
            }
            line(out, series.ink, series.mark, &d);
        }
        out.push_str("</svg>");
    }

    fn draw_band(&self, out: &mut String, area: &Area, band: &Band) {
        let edge = |values: &[f64]| -> Vec<[f64; 2]> {
            let shown = band.x.iter().zip(values).filter(|(x, y)| self.shows(&[**x, **y]));
            shown.map(|(x, y)| [area.x.place(*x), area.y.place(*y)]).collect()
        };
        let mut around = thinned(&edge(&band.high));
        let mut below = thinned(&edge(&band.low));
        below.reverse();
        around.append(&mut below);
        if around.len() > 2 {
            let _ = write!(out, r#"<path class="{}" {BAND_ATTRIBUTES} d="{}z"/>"#, band.ink.class(), path(&around));
        }
    }

    fn draw_points(&self, out: &mut String, area: &Area, series: &Series) {
        let inside = |p: &[f64; 2]| self.shows(p) && area.x.holds(p[0]) && area.y.holds(p[1]);
        let mut bars = String::new();
        for (point, ends) in series.points.iter().zip(&series.bars) {
            if self.x.shows(point[0]) && area.x.holds(point[0]) && ends.iter().all(|e| self.y.shows(*e)) {
                let x = area.x.place(point[0]);
                let [low, high] = ends.map(|e| area.y.place(e).clamp(area.top, area.bottom));
                let _ = write!(bars, "M{:.1} {low:.1}h6m-3 0V{high:.1}m-3 0h6", x - 3.0);
            }
        }
        if !bars.is_empty() {
            let class = series.ink.class();
            let _ = write!(
                out,
                r#"<path class="{class}" fill="none" stroke="currentColor" stroke-width="1.2" d="{bars}"/>"#
            );
        }
        if series.mark.has_points() {
            let d: String = series
                .points
                .iter()
                .filter(|p| inside(p))
                .map(|p| series.ink.point(area.x.place(p[0]), area.y.place(p[1])))
                .collect();
            if !d.is_empty() {
                let attributes = series.mark.point_attributes(series.ink);
                let _ = write!(out, r#"<path class="{}" {attributes} d="{d}"/>"#, series.ink.class());
            }
        }
    }
}

impl Area {
    /// A straight line over the whole width; none where an end is no number that the axis up can show.
    fn straight(&self, slope: f64, intercept: f64, up: &Axis) -> Option<[[f64; 2]; 2]> {
        let ends = [self.left, self.right].map(|place| [place, slope * self.x.value(place) + intercept]);
        let shown = ends.iter().all(|end| up.shows(end[1]));
        shown.then(|| ends.map(|[place, y]| [place, self.y.place(y)]))
    }
}

/// Opens the drawing with its name and its sentence.
pub(crate) fn open(title: &str, description: &str, width: f64, height: f64) -> String {
    format!(
        r#"<svg class="chart" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0} {height:.0}" role="img" font-family="sans-serif" font-size="13"><title>{}</title><desc>{}</desc>"#,
        escape(title),
        escape(description)
    )
}

fn line(out: &mut String, ink: Ink, mark: Mark, d: &str) {
    if !d.is_empty() {
        let _ = write!(
            out,
            r#"<path class="{}" fill="none" stroke="currentColor" {} d="{d}"/>"#,
            ink.class(),
            mark.line_attributes(ink)
        );
    }
}

fn path(places: &[[f64; 2]]) -> String {
    let mut d = String::new();
    for (i, [x, y]) in places.iter().enumerate() {
        let _ = write!(d, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
    }
    d
}

/// Corners of steps between the points, where the mark asks for them.
fn stepped(places: &[[f64; 2]], mark: Mark) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = Vec::with_capacity(2 * places.len());
    for &[x, y] in places {
        match (mark, out.last().copied()) {
            (Mark::Steps, Some([_, before])) => out.push([x, before]),
            (Mark::StepsUpTo, Some([before, _])) => out.push([before, y]),
            _ => {}
        }
        out.push([x, y]);
    }
    out
}

/// Long lines with at most four points a column of paper: its first, lowest, highest and last look the same.
fn thinned(places: &[[f64; 2]]) -> Vec<[f64; 2]> {
    if places.len() <= 2000 {
        return places.to_vec();
    }
    let mut out = Vec::new();
    for column in places.chunk_by(|a, b| (a[0].floor() - b[0].floor()).abs() < 0.5) {
        let mut kept: Vec<usize> = vec![0, column.len() - 1];
        let by_height = |a: &usize, b: &usize| column[*a][1].total_cmp(&column[*b][1]);
        kept.extend((0..column.len()).min_by(by_height));
        kept.extend((0..column.len()).max_by(by_height));
        kept.sort_unstable();
        kept.dedup();
        out.extend(kept.into_iter().map(|i| column[i]));
    }
    out
}

#[cfg(test)]
mod tests;
