//! The deck seen from above on the bed: sections, plates, cells with their loads, deflection as a heat map.
//!
//! Bed coordinates in millimetres: x from the head end (left) to the foot, y from the patient's right
//! (bottom) to left.
//! The map has five steps of equal width from 0 to the largest deflection shown; their edges stand in the key, and the
//! largest place is marked and written out, so that colour is never alone.

use std::fmt::Write as _;

use super::bed_side::BedSide;
use super::labels::{self, Anchor, Block, Place};
use crate::number::{fixed, significant};

/// Steps of the heat map; the style sheet names as many.
const STEPS: usize = 5;
/// Room around the bed for names and the key, mm.
const MARGIN_MM: f64 = 70.0;
/// Height of the key below the bed, mm.
const KEY_MM: f64 = 130.0;

/// Height of letters, as the style sheet sets it, mm.
const LETTER: f64 = 34.0;
/// Radius of a cell's ring, mm.
const CELL_RADIUS: f64 = 24.0;
/// Half of the cross at the lowest place, mm.
const CROSS: f64 = 16.0;

/// What to draw.
#[derive(Debug, Clone, PartialEq)]
pub struct DeckPlan {
    /// What the drawing shows, in words.
    pub title: String,
    /// Sections from the head end.
    pub sections: Vec<SectionPlan>,
    /// Plates.
    pub plates: Vec<PlatePlan>,
    /// How the sections stand, where that is to be shown below the plan.
    pub side: Option<BedSide>,
    /// Words of the drawing itself.
    pub words: PlanWords,
}

/// Words of a drawing, in the reader's language.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlanWords {
    /// Beside the key of the map.
    pub mm_down: &'static str,
    /// Behind a cell's load in percent.
    pub of_capacity: &'static str,
}

impl Default for PlanWords {
    /// English.
    fn default() -> Self {
        Self { mm_down: "mm down", of_capacity: "of capacity" }
    }
}

/// A section of the bed.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionPlan {
    /// Name.
    pub name: String,
    /// Length along x, mm.
    pub length_mm: f64,
}

/// A plate.
#[derive(Debug, Clone, PartialEq)]
pub struct PlatePlan {
    /// Name.
    pub name: String,
    /// Corner in bed coordinates, mm.
    pub origin_mm: [f64; 2],
    /// Size, mm.
    pub size_mm: [f64; 2],
    /// Cells.
    pub cells: Vec<CellMark>,
    /// Deflection over the plate, where it is to be shown.
    pub field: Option<Field>,
    /// A body that stands on the plate, where it is to be shown.
    pub body: Option<BodyMark>,
}

/// A body on a plate, with its place from the plate's corner.
#[derive(Debug, Clone, PartialEq)]
pub struct BodyMark {
    /// What it is, in a few words.
    pub name: String,
    /// Its middle, on the plate, mm.
    pub at_mm: [f64; 2],
    /// Side of its foot, mm.
    pub foot_mm: f64,
}

/// A cell and its load.
#[derive(Debug, Clone, PartialEq)]
pub struct CellMark {
    /// Name.
    pub name: String,
    /// Place on the plate, mm.
    pub at_mm: [f64; 2],
    /// Load in percent of capacity.
    pub load_pct: f64,
}

/// Deflection at the centres of `nx` × `ny` equal rectangles of a plate, row by row along x.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Rectangles along x.
    pub nx: usize,
    /// Rectangles along y.
    pub ny: usize,
    /// Deflection, mm, down; `nx * ny` values.
    pub deflection_mm: Vec<f64>,
    /// Largest deflection, mm.
    pub max_mm: f64,
    /// Its place on the plate, mm.
    pub max_at_mm: [f64; 2],
}

impl DeckPlan {
    /// The drawing.
    #[must_use]
    pub fn svg(&self) -> String {
        let length = self.extent(0, self.sections.iter().map(|s| s.length_mm).sum());
        let width = self.extent(1, 0.0) + 20.0;
        let most = self.plates.iter().filter_map(|p| p.field.as_ref()).fold(0.0_f64, |m, f| m.max(f.max_mm));
        let has_key = most > 0.0 || self.side.is_none();
        let below = width + if has_key { KEY_MM } else { 0.0 };
        let mut side = String::new();
        let side_mm = self.side.as_ref().map_or(0.0, |s| s.draw(&mut side, &self.sections, below));
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = write!(
            out,
            r#"<svg class="deck" viewBox="{} {} {} {}" role="img" aria-label="{}">"#,
            -MARGIN_MM / 2.0,
            -MARGIN_MM,
            length + MARGIN_MM,
            below + MARGIN_MM + side_mm,
            escape(&self.title)
        );
        self.draw_sections(&mut out, width);
        for plate in &self.plates {
            plate.draw(&mut out, width, most, self.words);
        }
        if most > 0.0 {
            draw_key(&mut out, most, width + 50.0, self.words);
        }
        out.push_str(&side);
        out.push_str("</svg>");
        out
    }

    fn extent(&self, axis: usize, at_least: f64) -> f64 {
        self.plates.iter().map(|p| p.origin_mm[axis] + p.size_mm[axis]).fold(at_least, f64::max)
    }

    fn draw_sections(&self, out: &mut String, width: f64) {
        let mut x = 0.0;
        for section in &self.sections {
            let _ = write!(
                out,
                r#"<rect class="section" x="{x}" y="0" width="{}" height="{width}"/><text class="soft" x="{}" y="-22">{}</text>"#,
                section.length_mm,
                x + 8.0,
                escape(&section.name)
            );
            x += section.length_mm;
        }
    }
}

impl PlatePlan {
    fn draw(&self, out: &mut String, width: f64, most: f64, words: PlanWords) {
        let [lx, ly] = self.size_mm;
        // The file's y grows from the patient's right to left, a drawing's downward: seen from above, the right of a
        // patient whose head is at the left lies at the bottom.
        let (x0, y0) = (self.origin_mm[0], width - self.origin_mm[1] - ly);
        let _ = write!(
            out,
            r#"<g data-plate="{0}" transform="translate({x0} {y0})"><title>{0}</title>"#,
            escape(&self.name)
        );
        if let Some(field) = &self.field {
            field.draw(out, lx, ly, most);
        }
        let _ = write!(out, r#"<rect class="outline" x="0" y="0" width="{lx}" height="{ly}" rx="8"/>"#);
        for cell in &self.cells {
            let (x, y) = (cell.at_mm[0], ly - cell.at_mm[1]);
            let share = (cell.load_pct / 100.0).clamp(0.0, 1.0);
            let _ = write!(
                out,
                r#"<g data-cell="{0}"><title>{0}: {1} % {3}</title><circle class="cell" cx="{x}" cy="{y}" r="{CELL_RADIUS}"/><circle class="cell-load" cx="{x}" cy="{y}" r="{2:.1}"/></g>"#,
                escape(&cell.name),
                fixed(cell.load_pct, 0),
                22.0 * share.sqrt(),
                escape(words.of_capacity)
            );
        }
        if let Some(body) = &self.body {
            body.draw(out, self.size_mm);
        }
        self.draw_words(out, lx, ly);
        out.push_str("</g>");
    }

    /// The plate's name and its largest deflection, clear of cells, of the cross and of each other.
    fn draw_words(&self, out: &mut String, lx: f64, ly: f64) {
        let frame = Block { low: [0.0, 0.0], high: [lx, ly] };
        let mut taken: Vec<Block> =
            self.cells.iter().map(|c| Block::around([c.at_mm[0], ly - c.at_mm[1]], CELL_RADIUS + 4.0)).collect();
        let lowest = self.field.as_ref().map(|f| ([f.max_at_mm[0], ly - f.max_at_mm[1]], f));
        if let Some((at, _)) = lowest {
            taken.push(Block::around(at, CROSS + 4.0));
        }
        let middle = |y: f64| Place { at: [lx / 2.0, y], anchor: Anchor::Middle };
        let for_name = [middle(44.0), middle(ly - 20.0), middle(ly / 2.0 + 12.0)];
        if let Some(place) = labels::put(&self.name, LETTER, &for_name, &frame, &mut taken) {
            draw_label(out, place, &escape(&self.name));
        }
        if let Some(([x, y], field)) = lowest {
            let words = format!("{} mm", significant(field.max_mm, 2));
            let beside = |dx: f64, dy: f64, anchor| Place { at: [x + dx, y + dy], anchor };
            let for_depth = [
                beside(24.0, -14.0, Anchor::Start),
                beside(-24.0, -14.0, Anchor::End),
                beside(24.0, 38.0, Anchor::Start),
                beside(-24.0, 38.0, Anchor::End),
                beside(0.0, -30.0, Anchor::Middle),
                beside(0.0, 54.0, Anchor::Middle),
            ];
            let _ = write!(
                out,
                r#"<path class="most" d="M{} {y}h{}M{x} {}v{}"/>"#,
                x - CROSS,
                2.0 * CROSS,
                y - CROSS,
                2.0 * CROSS
            );
            if let Some(place) = labels::put(&words, LETTER, &for_depth, &frame, &mut taken) {
                draw_label(out, place, &words);
            }
        }
    }
}

fn draw_label(out: &mut String, place: Place, words: &str) {
    let [x, y] = place.at;
    let _ = write!(out, r#"<text x="{x}" y="{y}" text-anchor="{}">{words}</text>"#, place.anchor.word());
}

/// Room between a body's foot and its words, mm.
const ASIDE_MM: f64 = 14.0;
/// From one line of a body's words to the next, mm.
const LINE_MM: f64 = 38.0;

impl BodyMark {
    /// The foot, its cross, and the way to it from the plate's corner: the head end and the patient's right.
    fn draw(&self, out: &mut String, [lx, ly]: [f64; 2]) {
        let (x, y) = (self.at_mm[0], ly - self.at_mm[1]);
        let half = self.foot_mm / 2.0;
        let figures = format!("x {} · y {}", fixed(self.at_mm[0].round(), 0), fixed(self.at_mm[1].round(), 0));
        let wide_mm = [&self.name, &figures].map(|words| labels::width(words, LETTER)).into_iter().fold(0.0, f64::max);
        // What it is and where stand on the side that has room, their lines never crossing the foot; on a narrow plate above it, or below.
        // Beside, they stand over the row of cells that the body may be in, or under it.
        let over_y = y - CELL_RADIUS - 12.0 - LINE_MM;
        let beside_y = if over_y >= LETTER { over_y } else { (y + CELL_RADIUS + LETTER).min(ly - 12.0 - LINE_MM) };
        let above = y - half > 60.0 + LINE_MM;
        let above_y = if above { y - half - ASIDE_MM - LINE_MM } else { y + half + 40.0 };
        let (anchor, label_x, label_y) = if (lx - x).max(x) - half - ASIDE_MM < wide_mm {
            ("middle", x, above_y)
        } else if x > lx / 2.0 {
            ("end", x - half - ASIDE_MM, beside_y)
        } else {
            ("start", x + half + ASIDE_MM, beside_y)
        };
        let _ = write!(
            out,
            r#"<g><title>{name}</title><path class="way" d="M0 {y}H{}M{x} {ly}V{}"/><rect class="body" x="{}" y="{}" width="{}" height="{}"/><path class="most" d="M{} {y}h48M{x} {}v48"/><text x="{label_x}" y="{label_y}" text-anchor="{anchor}">{name}</text><text x="{label_x}" y="{}" text-anchor="{anchor}">{figures}</text></g>"#,
            x - half,
            y + half,
            x - half,
            y - half,
            self.foot_mm,
            self.foot_mm,
            x - 24.0,
            y - 24.0,
            label_y + LINE_MM,
            name = escape(&self.name),
        );
    }
}

impl Field {
    fn draw(&self, out: &mut String, lx: f64, ly: f64, most: f64) {
        let (dx, dy) = (lx / to_f64(self.nx), ly / to_f64(self.ny));
        for (row, values) in self.deflection_mm.chunks(self.nx.max(1)).enumerate() {
            // Neighbours of one step are one rectangle: a fifth of the elements.
            let mut start = 0;
            for end in 1..=values.len() {
                if end == values.len() || step(values[end], most) != step(values[start], most) {
                    let _ = write!(
                        out,
                        r#"<rect class="heat-{}" x="{:.1}" y="{:.1}" width="{:.1}" height="{:.1}"/>"#,
                        step(values[start], most),
                        to_f64(start) * dx,
                        ly - to_f64(row + 1) * dy,
                        to_f64(end - start) * dx + 0.6,
                        dy + 0.6
                    );
                    start = end;
                }
            }
        }
    }
}

fn draw_key(out: &mut String, most: f64, y: f64, words: PlanWords) {
    let wide = 190.0;
    for s in 0..STEPS {
        let x = to_f64(s) * wide;
        let edge = most / to_f64(STEPS);
        let _ = write!(
            out,
            r#"<rect class="heat-{s}" x="{x}" y="{y}" width="{wide}" height="34"/><text class="soft" x="{}" y="{}" text-anchor="middle">{}–{}</text>"#,
            x + wide / 2.0,
            y + 70.0,
            significant(edge * to_f64(s), 2),
            significant(edge * to_f64(s + 1), 2)
        );
    }
    let _ = write!(
        out,
        r#"<text class="soft" x="{}" y="{}">{}</text>"#,
        to_f64(STEPS) * wide + 20.0,
        y + 28.0,
        escape(words.mm_down)
    );
}

/// Step of the map for a deflection; a part that rises stands in the lowest.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..STEPS before the cast")]
fn step(deflection_mm: f64, most: f64) -> usize {
    let share = (deflection_mm / most * to_f64(STEPS)).floor();
    if share.is_finite() { share.clamp(0.0, to_f64(STEPS - 1)) as usize } else { 0 }
}

/// Small counts, exactly.
#[expect(clippy::cast_precision_loss, reason = "grid sizes are far below 2^52")]
fn to_f64(n: usize) -> f64 {
    n as f64
}

/// Text for an element or attribute.
pub(crate) fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(values: Vec<f64>, max_mm: f64) -> DeckPlan {
        DeckPlan {
            title: "a <deck>".into(),
            sections: vec![SectionPlan { name: "back".into(), length_mm: 700.0 }],
            plates: vec![PlatePlan {
                name: "one".into(),
                origin_mm: [0.0, 0.0],
                size_mm: [600.0, 400.0],
                cells: vec![CellMark { name: "A".into(), at_mm: [40.0, 40.0], load_pct: 30.0 }],
                field: Some(Field { nx: 3, ny: 1, deflection_mm: values, max_mm, max_at_mm: [300.0, 200.0] }),
                body: None,
            }],
            side: None,
            words: PlanWords::default(),
        }
    }

    #[test]
    fn the_map_runs_from_the_lowest_to_the_highest_step() {
        let svg = plan(vec![-0.5, 1.0, 2.0], 2.0).svg();
        assert!(svg.contains(r#"class="heat-0" x="0.0""#), "{svg}");
        assert!(svg.contains(r#"class="heat-2" x="200.0""#), "{svg}");
        assert!(svg.contains(r#"class="heat-4" x="400.0""#), "{svg}");
        assert!(svg.contains("2.0 mm"), "{svg}");
    }

    #[test]
    fn a_deck_without_deflection_is_drawn_without_a_key() {
        let svg = plan(vec![0.0; 3], 0.0).svg();
        assert!(!svg.contains("mm down") && !svg.contains("NaN"), "{svg}");
    }

    /// Head left, face up, seen from above: the patient's right hand, y = 0, lies at the bottom of the drawing.
    #[test]
    fn the_patients_right_lies_at_the_bottom() {
        let mut both = plan(vec![0.0; 3], 0.0);
        let left = PlatePlan { name: "left".into(), origin_mm: [0.0, 420.0], ..both.plates[0].clone() };
        both.plates.push(left);
        let svg = both.svg();
        // 840 mm of plates and gap, with 20 mm beside them: the right plate stands lower by the left one and the gap.
        assert!(
            svg.contains(r#"translate(0 440)"><title>one"#) && svg.contains(r#"translate(0 20)"><title>left"#),
            "{svg}"
        );
        // A cell 40 mm from the plate's right edge stands 40 mm above its lower one.
        assert!(svg.contains(r#"cx="40" cy="360""#), "{svg}");
    }

    /// x from the head end (left), y from the patient's right (bottom): a body 120 and 75 mm from the corner of a plate
    /// 400 mm wide stands 325 mm below its upper edge.
    #[test]
    fn a_body_stands_where_it_is_to_be_put() {
        let mut with_body = plan(vec![0.0; 3], 0.0);
        with_body.plates[0].body = Some(BodyMark { name: "F1 & can".into(), at_mm: [120.0, 75.0], foot_mm: 150.0 });
        let svg = with_body.svg();
        assert!(svg.contains(r#"<rect class="body" x="45" y="250" width="150" height="150"/>"#), "{svg}");
        assert!(svg.contains("x 120 · y 75") && svg.contains("F1 &amp; can"), "{svg}");
    }

    /// On a plate too narrow for them the figures stand above the foot, not over its neighbour; halves are rounded as in the text.
    #[test]
    fn the_figures_of_a_body_stay_on_a_narrow_plate() {
        let mut narrow = plan(vec![0.0; 3], 0.0);
        narrow.plates[0].size_mm = [430.0, 860.0];
        narrow.plates[0].body = Some(BodyMark { name: "F20".into(), at_mm: [215.0, 212.5], foot_mm: 150.0 });
        let svg = narrow.svg();
        assert!(svg.contains(r#"<text x="215" y="558.5" text-anchor="middle">x 215 · y 213</text>"#), "{svg}");
        assert!(svg.contains(r#"<text x="215" y="520.5" text-anchor="middle">F20</text>"#), "{svg}");
    }

    /// The lowest place under the plate's name, where a label would cover it: both stay readable.
    #[test]
    fn the_mark_of_the_lowest_place_covers_no_name() {
        let mut plan = plan(vec![0.0, 1.0, 2.0], 2.0);
        let field = plan.plates[0].field.as_mut().unwrap();
        field.max_at_mm = [300.0, 370.0];
        let svg = plan.svg();
        // The cross stands 30 mm below the upper edge: the name leaves its place there for the lower edge.
        assert!(svg.contains(r#"<text x="300" y="380" text-anchor="middle">one</text>"#), "{svg}");
        assert!(svg.contains("2.0 mm"), "{svg}");
    }

    #[test]
    fn names_are_escaped() {
        assert!(plan(vec![0.0; 3], 0.0).svg().contains("a &lt;deck&gt;"));
    }
}
