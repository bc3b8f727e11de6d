//! Presses laid along the order of the places: the alignment of least cost, in which a place may have no press and a press
//! no place (Needleman & Wunsch 1970, from memory).

use super::press::Press;

/// What a place without a press, or a press without a place, costs. A press in a place that it does not look like costs at
/// most 1, so that two exchanged cells stay in their places.
const GAP: f64 = 1.2;
/// What a fellow of the pressed cell usually bears of it.
const FELLOW: f64 = 0.2;
/// The number of presses may differ from that of the cells by this part.
const MOST_AMISS: f64 = 0.34;

/// Press of each place; `None` altogether where the numbers differ too much.
pub(crate) fn lay_along(presses: &[Press], plate_of: &[usize]) -> Option<Vec<Option<usize>>> {
    let (n, m) = (plate_of.len(), presses.len());
    let most = (MOST_AMISS * n as f64).max(1.0);
    if m == 0 || (m as f64 - n as f64).abs() > most {
        return None;
    }
    // least[i][j]: of the first i places and j presses.
    let mut least = vec![vec![0.0; m + 1]; n + 1];
    for i in 0..=n {
        for j in 0..=m {
            if i == 0 || j == 0 {
                least[i][j] = GAP * (i + j) as f64;
                continue;
            }
            let matched = least[i - 1][j - 1] + unlike(&presses[j - 1], i - 1, plate_of);
            least[i][j] = f64::min(matched, GAP + f64::min(least[i - 1][j], least[i][j - 1]));
        }
    }
    let mut of_place = vec![None; n];
    let (mut i, mut j) = (n, m);
    while i > 0 && j > 0 {
        let matched = least[i - 1][j - 1] + unlike(&presses[j - 1], i - 1, plate_of);
        if matched <= least[i][j] {
            of_place[i - 1] = Some(j - 1);
            (i, j) = (i - 1, j - 1);
        } else if least[i - 1][j] <= least[i][j - 1] {
            i -= 1;
        } else {
            j -= 1;
        }
    }
    Some(of_place)
}

/// How little a press looks like one over cell `i`: 1 − cosine between what moved and what should.
fn unlike(press: &Press, i: usize, plate_of: &[usize]) -> f64 {
    let expected = |c: usize| match (c == i, plate_of[c] == plate_of[i]) {
        (true, _) => 1.0,
        (false, true) => FELLOW,
        _ => 0.0,
    };
    let (mut product, mut moved, mut should) = (0.0, 0.0, 0.0);
    for (c, kg) in press.moved_kg.iter().enumerate() {
        product += kg.abs() * expected(c);
        moved += kg * kg;
        should += expected(c).powi(2);
    }
    if moved > 0.0 { 1.0 - product / (moved * should).sqrt() } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn press(kg: [f64; 4]) -> Press {
        Press { seconds: [0.0, 1.0], moved_kg: kg.to_vec() }
    }

    #[test]
    fn a_missing_press_leaves_its_own_place_empty() {
        let presses = [press([9.0, 1.0, 0.0, 0.0]), press([0.0, 0.0, 9.0, 1.0]), press([0.0, 0.0, 1.0, 9.0])];
        assert_eq!(lay_along(&presses, &[0, 0, 1, 1]), Some(vec![Some(0), None, Some(1), Some(2)]));
    }

    #[test]
    fn exchanged_cells_do_not_shift_the_others() {
        let presses = [
            press([9.0, 1.0, 0.0, 0.0]),
            press([1.0, 0.0, 9.0, 0.0]),
            press([0.0, 9.0, 0.0, 1.0]),
            press([0.0, 1.0, 0.0, 9.0]),
        ];
        assert_eq!(lay_along(&presses, &[0, 0, 1, 1]), Some(vec![Some(0), Some(1), Some(2), Some(3)]));
        assert_eq!(lay_along(&presses[..1], &[0, 0, 1, 1]), None);
    }
}
