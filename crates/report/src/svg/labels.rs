//! Where words stand in a drawing so that they cover neither marks nor each other.
//!
//! Each label has a few places it may take; it takes the one that covers least of what already stands and leaves the frame
//! least, the earlier one among equals. Sizes in the drawing's units; y grows downward.

/// Width of a letter as a part of its height: the mean of common sans-serif faces, rounded up.
const LETTER_WIDTH: f64 = 0.58;

/// An upright rectangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Block {
    pub(super) low: [f64; 2],
    pub(super) high: [f64; 2],
}

impl Block {
    /// A square around a point.
    pub(super) fn around([x, y]: [f64; 2], half: f64) -> Self {
        Self { low: [x - half, y - half], high: [x + half, y + half] }
    }

    fn area(&self) -> f64 {
        (self.high[0] - self.low[0]).max(0.0) * (self.high[1] - self.low[1]).max(0.0)
    }

    fn common(&self, other: &Block) -> f64 {
        let low = [0, 1].map(|i| self.low[i].max(other.low[i]));
        let high = [0, 1].map(|i| self.high[i].min(other.high[i]));
        Block { low, high }.area()
    }
}

/// Which end of the words stands at the place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl Anchor {
    /// The SVG word.
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// A place for words: baseline point and anchor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) at: [f64; 2],
    pub(super) anchor: Anchor,
}

/// How wide words of that height are.
pub(super) fn width(words: &str, height: f64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a label's letters are few")]
    let letters = words.chars().count() as f64;
    letters * LETTER_WIDTH * height
}

impl Place {
    /// What words of that height cover there.
    fn block(&self, words: &str, height: f64) -> Block {
        let width = width(words, height);
        let left = match self.anchor {
            Anchor::Start => self.at[0],
            Anchor::Middle => self.at[0] - width / 2.0,
            Anchor::End => self.at[0] - width,
        };
        // Letters reach about 0.8 of their size above the baseline and 0.25 below.
        Block { low: [left, self.at[1] - 0.8 * height], high: [left + width, self.at[1] + 0.25 * height] }
    }
}

/// The best of `places` for the words, added to what is taken. The first place where none is better.
pub(super) fn put(words: &str, height: f64, places: &[Place], frame: &Block, taken: &mut Vec<Block>) -> Option<Place> {
    let cost = |place: &Place| {
        let block = place.block(words, height);
        taken.iter().map(|t| t.common(&block)).sum::<f64>() + block.area() - block.common(frame)
    };
    // Of equals `min_by` gives the first.
    let best = places.iter().copied().min_by(|a, b| cost(a).total_cmp(&cost(b)))?;
    taken.push(best.block(words, height));
    Some(best)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Block = Block { low: [0.0, 0.0], high: [400.0, 200.0] };

    fn place(x: f64, y: f64) -> Place {
        Place { at: [x, y], anchor: Anchor::Start }
    }

    #[test]
    fn words_keep_clear_of_what_stands() {
        let mut taken = vec![Block::around([50.0, 40.0], 30.0)];
        let put_at = put("four", 20.0, &[place(30.0, 40.0), place(200.0, 40.0)], &FRAME, &mut taken);
        assert_eq!(put_at, Some(place(200.0, 40.0)));
        // The next label sees the one before.
        let next = put("more", 20.0, &[place(200.0, 45.0), place(200.0, 120.0)], &FRAME, &mut taken);
        assert_eq!(next, Some(place(200.0, 120.0)));
    }

    #[test]
    fn words_stay_in_the_frame_and_the_first_of_equals_wins() {
        let mut taken = Vec::new();
        assert_eq!(
            put("long words", 20.0, &[place(380.0, 40.0), place(100.0, 40.0), place(10.0, 40.0)], &FRAME, &mut taken),
            Some(place(100.0, 40.0))
        );
    }
}
