//! Workshop drawings: one model of lines, circles and texts in millimetres, and two writers, [`svg`] and [`dxf`].
//!
//! x runs to the right, y upwards, seen from above: in bed coordinates x from the head end to the foot and y from the
//! patient's right to left, on a plate from its own corner. A place in a drawing is the place in the deck file, so that
//! a drawing of full size can be drilled from.
//!
//! Not here: the deflection map of a page (that is [`crate::svg`]).

mod assembly;
pub mod dxf;
mod edge;
mod plate;
pub mod svg;

pub use assembly::assembly;
pub use plate::plate;

/// A drawing, mm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Drawing {
    /// What it shows.
    pub title: String,
    /// What is drawn, in order.
    pub marks: Vec<Mark>,
}

/// Something drawn on a layer.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// What it means.
    pub layer: Layer,
    /// What it looks like.
    pub shape: Shape,
}

/// What a mark means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layer {
    /// Edges of plates: where to cut.
    Outline,
    /// Centres of cells: where to drill.
    Cell,
    /// Ribs below a plate.
    Rib,
    /// Sections of the bed.
    Section,
    /// Dimensions.
    Dimension,
    /// Words.
    Text,
}

impl Layer {
    /// All layers.
    pub const ALL: [Layer; 6] =
        [Layer::Outline, Layer::Cell, Layer::Rib, Layer::Section, Layer::Dimension, Layer::Text];

    /// Name in a file.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Layer::Outline => "OUTLINE",
            Layer::Cell => "CELL",
            Layer::Rib => "RIB",
            Layer::Section => "SECTION",
            Layer::Dimension => "DIMENSION",
            Layer::Text => "TEXT",
        }
    }

    /// Whether its lines are dashed: what is hidden or not part of the deck.
    #[must_use]
    pub fn is_dashed(self) -> bool {
        matches!(self, Layer::Rib | Layer::Section)
    }
}

/// A shape, mm.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A straight line.
    Line([f64; 2], [f64; 2]),
    /// A circle by its centre and radius.
    Circle([f64; 2], f64),
    /// A line of text.
    Text {
        /// Start or middle of its base line.
        at: [f64; 2],
        /// Height of capitals.
        height: f64,
        /// Words.
        words: String,
        /// Whether `at` is the middle.
        middle: bool,
        /// Whether it runs upwards.
        upright: bool,
    },
}

impl Drawing {
    fn line(&mut self, layer: Layer, from: [f64; 2], to: [f64; 2]) {
        self.marks.push(Mark { layer, shape: Shape::Line(from, to) });
    }

    fn rectangle(&mut self, layer: Layer, corner: [f64; 2], size: [f64; 2]) {
        let [x0, y0] = corner;
        let [x1, y1] = [x0 + size[0], y0 + size[1]];
        let corners = [[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]];
        for side in corners.windows(2) {
            self.line(layer, side[0], side[1]);
        }
    }

    /// A cell's place: a circle with a cross through it.
    fn cell(&mut self, at: [f64; 2]) {
        let [x, y] = at;
        self.marks.push(Mark { layer: Layer::Cell, shape: Shape::Circle(at, CELL_MARK_MM) });
        let arm = 2.0 * CELL_MARK_MM;
        self.line(Layer::Cell, [x - arm, y], [x + arm, y]);
        self.line(Layer::Cell, [x, y - arm], [x, y + arm]);
    }

    fn text(&mut self, at: [f64; 2], height: f64, words: impl Into<String>) {
        let shape = Shape::Text { at, height, words: words.into(), middle: false, upright: false };
        self.marks.push(Mark { layer: Layer::Text, shape });
    }

    fn middle_text(&mut self, at: [f64; 2], height: f64, words: impl Into<String>) {
        let shape = Shape::Text { at, height, words: words.into(), middle: true, upright: false };
        self.marks.push(Mark { layer: Layer::Text, shape });
    }

    /// Lines of text downwards from `at`.
    fn lines(&mut self, at: [f64; 2], height: f64, lines: &[String]) {
        let mut y = at[1] - height;
        for words in lines {
            if !words.is_empty() {
                self.text([at[0], y], height, words.clone());
            }
            y -= 1.7 * height;
        }
    }

    /// Lowest and highest corner of all that is drawn; texts by a usual width of letters.
    #[must_use]
    pub fn extent(&self) -> ([f64; 2], [f64; 2]) {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        let mut take = |[x, y]: [f64; 2]| {
            low = [low[0].min(x), low[1].min(y)];
            high = [high[0].max(x), high[1].max(y)];
        };
        for mark in &self.marks {
            match &mark.shape {
                Shape::Line(a, b) => [*a, *b].into_iter().for_each(&mut take),
                Shape::Circle([x, y], r) => [[x - r, y - r], [x + r, y + r]].into_iter().for_each(&mut take),
                Shape::Text { at: [x, y], height, words, middle, upright } => {
                    let long = 0.75 * height * f64::from(u16::try_from(words.chars().count()).unwrap_or(u16::MAX));
                    let (back, ahead) = if *middle { (long / 2.0, long / 2.0) } else { (0.0, long) };
                    let corners = if *upright {
                        [[x - height, y - back], [*x, y + ahead]]
                    } else {
                        [[x - back, *y], [x + ahead, y + height]]
                    };
                    corners.into_iter().for_each(&mut take);
                }
            }
        }
        (low, high)
    }
}

/// Radius of the circle that marks a cell, mm: a mark, not the size of a hole.
const CELL_MARK_MM: f64 = 4.0;

/// A length as it is printed: to 0.1 mm, whole where it is whole.
fn length(mm: f64) -> String {
    let text = crate::number::fixed(mm, 1);
    text.strip_suffix(".0").map_or_else(|| text.clone(), ToOwned::to_owned)
}

/// Said on every drawing.
const NOTES: [&str; 3] = [
    "All lengths in mm. Seen from above. Circles mark cell centres; hole sizes by the cell's data sheet.",
    "Break all sharp edges. Check clearance between plates through the bed's whole movement.",
    "Not a released drawing: local codes and the manufacturer of the bed come first.",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_extent_holds_all_marks() {
        let mut drawing = Drawing::default();
        drawing.rectangle(Layer::Outline, [10.0, 20.0], [100.0, 50.0]);
        drawing.cell([0.0, 30.0]);
        assert_eq!(drawing.extent(), ([-8.0, 20.0], [110.0, 70.0]));
    }

    #[test]
    fn lengths_are_whole_where_they_can_be() {
        assert_eq!([length(120.0), length(212.5), length(0.04)], ["120", "212.5", "0"]);
    }
}
