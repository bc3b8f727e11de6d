//! Horizontal bars, one row a name: what each source does to a result, the largest first (the caller's order is kept).

use std::fmt::Write as _;

use super::axis::{Axis, as_f64};
use super::escape;
use super::marks::{Ink, Mark, Swatch, bar_attributes, key, text_width};
use super::xy_chart::{Across, Level, open};

const WIDTH: f64 = 720.0;
const ROOM: f64 = 14.0;
/// Height of a bar.
const BAR: f64 = 13.0;
/// Distance between rows.
const GAP: f64 = 9.0;

/// A chart of bars.
#[derive(Debug, Clone, PartialEq)]
pub struct BarChart {
    /// What is shown, in a few words.
    pub title: String,
    /// What there is to see, in a sentence or two.
    pub description: String,
    /// The axis along, linear or logarithmic.
    pub x: Axis,
    /// Name in the key and colour of the first, second and third bar of each row.
    pub series: Vec<(String, Ink)>,
    /// Rows from the top.
    pub rows: Vec<BarRow>,
    /// Upright lines, such as the value that all bars start from; levels of other directions are left out.
    pub levels: Vec<Level>,
}

/// A row.
#[derive(Debug, Clone, PartialEq)]
pub struct BarRow {
    /// Its name.
    pub name: String,
    /// From and to of each bar, in the order of the series; a bar that is not finite is left out.
    pub bars: Vec<[f64; 2]>,
}

impl BarChart {
    /// The drawing: an `svg` element to stand in a page.
    #[must_use]
    pub fn svg(&self) -> String {
        let n_bars = self.series.len().max(1);
        let row_height = as_f64(n_bars) * BAR + GAP;
        let (top, bottom) = (ROOM, ROOM + row_height * as_f64(self.rows.len().max(1)) + GAP);
        let widest = self.rows.iter().map(|r| text_width(&r.name)).fold(0.0, f64::max);
        let left = (widest + 12.0).clamp(60.0, WIDTH / 2.0);
        let right = WIDTH - 2.0 * ROOM;
        let upright = |l: &Level| if let Across::X(x) = l.at { Some(x) } else { None };
        let values = self.rows.iter().flat_map(|r| r.bars.iter().flatten().copied());
        let laid = self.x.lay(values.chain(self.levels.iter().filter_map(upright)), left, right);
        let mut entries: Vec<(&str, Swatch)> = Vec::new();
        for (i, (name, ink)) in self.series.iter().enumerate() {
            entries.push((name, Swatch::Bar(*ink, i)));
        }
        let levels: Vec<(&Level, f64)> = self.levels.iter().filter_map(|l| Some((l, upright(l)?))).collect();
        entries.extend(levels.iter().map(|(l, _)| (l.name.as_str(), Swatch::Drawn(l.ink, Mark::Dashed))));
        let (key, key_height) = key(&entries, left.min(120.0), right - left.min(120.0), bottom + 48.0);
        let mut out = open(&self.title, &self.description, WIDTH, bottom + 54.0 + key_height);
        for (place, words) in self.x.ticks(&laid, 6) {
            let _ = write!(
                out,
                r##"<path class="grid" stroke="#ddd" d="M{place:.1} {top:.1}V{bottom:.1}"/><text class="tick" text-anchor="middle" x="{place:.1}" y="{:.1}">{}</text>"##,
                bottom + 18.0,
                escape(&words)
            );
        }
        let _ = write!(
            out,
            r#"<text text-anchor="middle" x="{:.1}" y="{:.1}">{}</text>"#,
            f64::midpoint(left, right),
            bottom + 38.0,
            escape(&self.x.label)
        );
        for (r, row) in self.rows.iter().enumerate() {
            let y = top + GAP + row_height * as_f64(r);
            let middle = y + as_f64(n_bars) * BAR / 2.0;
            let _ = write!(
                out,
                r#"<text text-anchor="end" x="{:.1}" y="{:.1}">{}</text>"#,
                left - 8.0,
                middle + 4.5,
                escape(&row.name)
            );
            for (i, ([from, to], (_, ink))) in row.bars.iter().zip(&self.series).enumerate() {
                if !(self.x.shows(*from) && self.x.shows(*to)) {
                    continue;
                }
                let [a, b] = [*from, *to].map(|v| laid.place(v).clamp(left, right));
                let _ = write!(
                    out,
                    r#"<rect class="{}" {} x="{:.1}" y="{:.1}" width="{:.1}" height="{:.1}"/>"#,
                    ink.class(),
                    bar_attributes(i),
                    a.min(b),
                    y + as_f64(i) * BAR + 1.0,
                    (a - b).abs(),
                    BAR - 2.0
                );
            }
        }
        for (level, at) in levels.iter().filter(|(_, at)| self.x.shows(*at) && laid.holds(*at)) {
            let _ = write!(
                out,
                r#"<path class="{}" fill="none" stroke="currentColor" {} d="M{:.1} {top:.1}V{bottom:.1}"/>"#,
                level.ink.class(),
                Mark::Dashed.line_attributes(level.ink),
                laid.place(*at)
            );
        }
        out.push_str(&key);
        out.push_str("</svg>");
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tornado() -> BarChart {
        BarChart {
            title: "what to improve".into(),
            description: "two rows".into(),
            x: Axis::linear("U, g").between(0.0, 100.0),
            series: vec![("halved".into(), Ink::Main), ("without".into(), Ink::Second)],
            rows: vec![
                BarRow { name: "creep <cell>".into(), bars: vec![[80.0, 60.0], [80.0, 40.0]] },
                BarRow { name: "noise".into(), bars: vec![[80.0, f64::NAN], [80.0, 200.0]] },
            ],
            levels: vec![Level { name: "now".into(), ink: Ink::Limit, mark: Mark::Dashed, at: Across::X(80.0) }],
        }
    }

    #[test]
    fn bars_run_between_their_ends_whatever_the_direction() {
        let svg = tornado().svg();
        // The names take 12 letters of 7.2 and 12 px: the axis runs from 98.4 to 692 over 0 to 100.
        let px = (692.0 - 98.4) / 100.0;
        assert!(svg.contains(&format!(r#"x="{:.1}" y="24.0" width="{:.1}""#, 98.4 + 60.0 * px, 20.0 * px)), "{svg}");
        // What is not finite is left out; what runs out of the range ends at its edge.
        assert!(svg.contains(&format!(r#"width="{:.1}" height="11.0""#, 20.0 * px)));
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        assert_eq!(svg.matches("<rect").count(), 3 + 2);
        assert!(svg.contains("creep &lt;cell&gt;"));
    }

    #[test]
    fn a_chart_without_rows_is_still_a_drawing() {
        let svg = BarChart { rows: vec![], levels: vec![], ..tornado() }.svg();
        assert!(svg.starts_with("<svg") && svg.ends_with("</svg>") && !svg.contains("NaN"));
    }
}
