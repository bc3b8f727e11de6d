//! Running dimensions along an edge: every place measured from one corner, so that no error adds up.

use super::{Drawing, Layer, Mark, Shape, length};

/// Distance of the figures from the edge, mm.
const AWAY_MM: f64 = 34.0;
/// Places nearer than this are one, mm: they print alike.
const ALIKE_MM: f64 = 0.05;

/// An edge of a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Edge {
    /// Places along x, figures below.
    Bottom,
    /// Places along y, figures left.
    Left,
}

impl Drawing {
    /// Dimensions of places along an edge that stands at `edge_mm` on the other axis, in letters of `height`.
    pub(super) fn running(&mut self, edge: Edge, edge_mm: f64, places: &[f64], height: f64) {
        let mut places = places.to_vec();
        places.sort_by(f64::total_cmp);
        places.dedup_by(|a, b| (*a - *b).abs() < ALIKE_MM);
        let shown = apart(&places, 1.5 * height);
        let along = |place: f64, away: f64| match edge {
            Edge::Bottom => [place, edge_mm - away],
            Edge::Left => [edge_mm - away, place],
        };
        for (place, shown) in places.iter().zip(shown) {
            // Straight off the edge, then aside to where the figure has room.
            self.line(Layer::Dimension, along(*place, 3.0), along(*place, AWAY_MM / 2.0));
            self.line(Layer::Dimension, along(*place, AWAY_MM / 2.0), along(shown, AWAY_MM));
            let words = length(*place);
            let wide = 0.8 * height * f64::from(u8::try_from(words.len()).unwrap_or(u8::MAX));
            // The base line lies half a letter beside the place.
            let at = match edge {
                Edge::Bottom => [shown + height / 2.0, edge_mm - AWAY_MM - 3.0 - wide],
                Edge::Left => [edge_mm - AWAY_MM - 3.0 - wide, shown - height / 2.0],
            };
            let shape = Shape::Text { at, height, words, middle: false, upright: edge == Edge::Bottom };
            self.marks.push(Mark { layer: Layer::Dimension, shape });
        }
    }
}

/// Places at least `gap` apart and as near to the sorted `wanted` ones as a single pass up and one down can have them.
fn apart(wanted: &[f64], gap: f64) -> Vec<f64> {
    let mut up = wanted.to_vec();
    for i in 1..up.len() {
        up[i] = up[i].max(up[i - 1] + gap);
    }
    let mut down = wanted.to_vec();
    for i in (1..down.len()).rev() {
        down[i - 1] = down[i - 1].min(down[i] - gap);
    }
    // The mean of two rows whose neighbours are `gap` apart has them so too.
    up.iter().zip(&down).map(|(a, b)| (a + b) / 2.0).collect()
}

#[cfg(test)]
mod tests {
    use super::apart;

    #[test]
    fn figures_stand_apart_and_stay_where_there_is_room() {
        let shown = apart(&[0.0, 1.0, 2.0, 100.0], 10.0);
        assert!(shown.windows(2).all(|w| w[1] - w[0] >= 10.0 - 1e-9), "{shown:?}");
        assert!((shown[3] - 100.0).abs() < 1e-9 && (shown[1] - 1.0).abs() < 1e-9, "{shown:?}");
    }
}
