//! Axes of a chart: from values to places on paper, and where the ticks stand.
//!
//! Ticks of a linear axis are 1, 2 or 5 times a power of ten apart; those of a logarithmic axis are decades, with 2 and 5
//! between them where few decades are shown. A tick carries the digits that tell it from its neighbour, no more.

use crate::number::{fixed, significant};

/// How values are laid along an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Scale {
    /// Equal distances are equal differences.
    #[default]
    Linear,
    /// Equal distances are equal ratios; what is not above zero cannot be shown.
    Log,
}

/// An axis: its words with the unit, its scale, its range.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Axis {
    /// What is along it, with the unit: `load, kg`.
    pub label: String,
    /// Linear or logarithmic.
    pub scale: Scale,
    /// Ends; `None`: all that is drawn, with a little room.
    pub range: Option<[f64; 2]>,
    /// Ticks by name, for things that are not numbers (a plate, a test); empty: ticks by value.
    pub names: Vec<(f64, String)>,
}

impl Axis {
    /// A linear axis over all that is drawn.
    #[must_use]
    pub fn linear(label: impl Into<String>) -> Self {
        Self { label: label.into(), ..Self::default() }
    }

    /// A logarithmic axis over all that is drawn.
    #[must_use]
    pub fn log(label: impl Into<String>) -> Self {
        Self { label: label.into(), scale: Scale::Log, ..Self::default() }
    }

    /// A linear axis whose places have names: the first at 1, the next at 2 and so on.
    #[must_use]
    pub fn named<S: Into<String>>(label: impl Into<String>, names: impl IntoIterator<Item = S>) -> Self {
        let names: Vec<(f64, String)> =
            names.into_iter().zip(1..).map(|(name, at)| (f64::from(at), name.into())).collect();
        let range = names.last().map(|(last, _)| [0.4, last + 0.6]);
        Self { label: label.into(), range, names, ..Self::default() }
    }

    /// The same axis between two ends.
    #[must_use]
    pub fn between(self, low: f64, high: f64) -> Self {
        Self { range: Some([low, high]), ..self }
    }

    /// Whether the axis can show a value.
    pub(crate) fn shows(&self, value: f64) -> bool {
        value.is_finite() && (self.scale == Scale::Linear || value > 0.0)
    }

    /// Lays the values to be shown between two places on paper (in the order of the values).
    pub(crate) fn lay(&self, values: impl Iterator<Item = f64>, from: f64, to: f64) -> Laid {
        let [low, high] = match self.range {
            Some([a, b]) if self.shows(a) && self.shows(b) && a < b => [self.forth(a), self.forth(b)],
            _ => self.all(values),
        };
        Laid { scale: self.scale, low, high, from, to }
    }

    /// Range of all values with a little room, after the scale.
    fn all(&self, values: impl Iterator<Item = f64>) -> [f64; 2] {
        let shown = values.filter(|v| self.shows(*v)).map(|v| self.forth(v));
        let (low, high) = shown.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        if low > high {
            return [0.0, 1.0];
        }
        let span = high - low;
        // One value, or several that differ by their rounding alone, stand in the middle.
        if span <= 1e-12 * low.abs().max(high.abs()) {
            let room = if low == 0.0 || self.scale == Scale::Log { 0.5 } else { 0.1 * low.abs() };
            return [low - room, high + room];
        }
        [low - 0.04 * span, high + 0.04 * span]
    }

    fn forth(&self, value: f64) -> f64 {
        match self.scale {
            Scale::Linear => value,
            Scale::Log => value.log10(),
        }
    }

    /// The ticks: places on paper and words; no words on a tick between decades.
    pub(crate) fn ticks(&self, laid: &Laid, about: usize) -> Vec<(f64, String)> {
        if !self.names.is_empty() {
            let within = self.names.iter().filter(|(at, _)| laid.holds(*at));
            return within.map(|(at, name)| (laid.place(*at), name.clone())).collect();
        }
        let ticks = match self.scale {
            Scale::Linear => linear_ticks(laid.low, laid.high, about),
            Scale::Log => log_ticks(laid.low, laid.high, about),
        };
        ticks.into_iter().map(|(value, words)| (laid.place(value), words)).collect()
    }
}

/// An axis laid on paper.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Laid {
    scale: Scale,
    /// Ends after the scale.
    low: f64,
    high: f64,
    /// Their places.
    from: f64,
    to: f64,
}

impl Laid {
    /// Place of a value that the axis can show.
    pub(crate) fn place(&self, value: f64) -> f64 {
        let forth = if self.scale == Scale::Log { value.log10() } else { value };
        let share = (forth - self.low) / (self.high - self.low);
        // Far outside stays finite; what is drawn there is cut off anyway.
        self.from + (self.to - self.from) * share.clamp(-100.0, 100.0)
    }

    /// The value at a place.
    pub(crate) fn value(&self, place: f64) -> f64 {
        let forth = self.low + (self.high - self.low) * (place - self.from) / (self.to - self.from);
        if self.scale == Scale::Log { 10f64.powf(forth) } else { forth }
    }

    /// Whether a value lies between the ends.
    pub(crate) fn holds(&self, value: f64) -> bool {
        let place = self.place(value);
        let (a, b) = (self.from.min(self.to), self.from.max(self.to));
        place >= a - 1e-6 && place <= b + 1e-6
    }
}

fn linear_ticks(low: f64, high: f64, about: usize) -> Vec<(f64, String)> {
    let step = step_near((high - low) / as_f64(about.max(1)));
    let (first, last) = ((low / step - 1e-9).ceil(), (high / step + 1e-9).floor());
    let n = last - first;
    if !(step > 0.0 && n.is_finite() && (0.0..200.0).contains(&n)) {
        return Vec::new();
    }
    let mut ticks = Vec::new();
    let mut k = first;
    while k <= last {
        let value = k * step;
        ticks.push((value, tick_words(value, step, low.abs().max(high.abs()))));
        k += 1.0;
    }
    ticks
}

/// 1, 2 or 5 times a power of ten, nearest above `rough`.
fn step_near(rough: f64) -> f64 {
    let power = 10f64.powf(rough.log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|m| m * power).find(|step| *step >= rough * (1.0 - 1e-9)).unwrap_or(10.0 * power)
}

/// A tick with the decimals of its step; very large or small axes by powers of ten.
fn tick_words(value: f64, step: f64, largest: f64) -> String {
    let power = (step.log10() + 1e-9).floor();
    if value.abs() < 1e-9 * step {
        return "0".into();
    }
    if (-5.0..7.0).contains(&power) && largest < 1e7 {
        return fixed(value, decimals(power));
    }
    // As many digits as tell it from its neighbour.
    let magnitude = (value.abs().log10() + 1e-12).floor();
    power_of_ten(value, decimals(power - magnitude))
}

/// Decimals of a step of 10^power.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=12 before the cast")]
fn decimals(power: f64) -> usize {
    (-power).clamp(0.0, 12.0) as usize
}

fn power_of_ten(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$e}");
    let Some((digits, exponent)) = text.split_once('e') else { return text };
    let raised: String = exponent.chars().map(superscript).collect();
    match digits {
        "1" => format!("10{raised}"),
        "-1" => format!("-10{raised}"),
        _ => format!("{digits}·10{raised}"),
    }
}

fn superscript(c: char) -> char {
    match c {
        '-' => '⁻',
        '0' => '⁰',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '4' => '⁴',
        '5' => '⁵',
        '6' => '⁶',
        '7' => '⁷',
        '8' => '⁸',
        '9' => '⁹',
        other => other,
    }
}

/// Decades between the exponents; 2 and 5 with words where there are few, all of 2 to 9 as bare ticks where they fit.
fn log_ticks(low: f64, high: f64, about: usize) -> Vec<(f64, String)> {
    let decades = high - low;
    if decades < 0.7 {
        // Less than a few-fold: the ticks of a linear axis say more.
        return linear_ticks(10f64.powf(low), 10f64.powf(high), about);
    }
    let every = (decades / as_f64(about.max(1))).ceil().max(1.0);
    let mut ticks = Vec::new();
    let mut exponent = low.floor();
    while exponent <= high + 1e-9 && ticks.len() < 400 {
        for m in 1..10 {
            let value = f64::from(m) * 10f64.powf(exponent);
            let at = value.log10();
            if at < low - 1e-9 || at > high + 1e-9 {
                continue;
            }
            let named = if m == 1 { (exponent / every).fract() == 0.0 } else { decades <= 2.5 && (m == 2 || m == 5) };
            if named {
                ticks.push((value, decade_words(value)));
            } else if every <= 1.0 && decades <= 7.0 || m == 1 {
                ticks.push((value, String::new()));
            }
        }
        exponent += 1.0;
    }
    ticks
}

fn decade_words(value: f64) -> String {
    if (1e-3..1e5).contains(&value) { significant(value, 1) } else { power_of_ten(value, 0) }
}

/// Small counts, exactly.
#[expect(clippy::cast_precision_loss, reason = "numbers of ticks and points are far below 2^52")]
pub(crate) fn as_f64(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(axis: &Axis, values: &[f64]) -> Vec<String> {
        let laid = axis.lay(values.iter().copied(), 0.0, 500.0);
        axis.ticks(&laid, 6).into_iter().map(|t| t.1).filter(|w| !w.is_empty()).collect()
    }

    #[test]
    fn linear_ticks_are_round_and_have_the_digits_of_their_step() {
        assert_eq!(words(&Axis::linear("g"), &[0.0, 200.0]), ["0", "50", "100", "150", "200"]);
        assert_eq!(words(&Axis::linear("g"), &[-0.11, 0.12]), ["-0.10", "-0.05", "0", "0.05", "0.10"]);
        assert_eq!(words(&Axis::linear("g"), &[80.001, 80.004]), ["80.001", "80.002", "80.003", "80.004"]);
    }

    #[test]
    fn very_large_and_small_values_are_told_by_powers_of_ten() {
        assert_eq!(words(&Axis::linear("counts"), &[0.0, 8.4e6])[1], "2000000");
        assert_eq!(words(&Axis::linear("counts"), &[0.0, 8.4e7])[1], "2·10⁷");
        assert_eq!(words(&Axis::linear("V"), &[0.0, 2.4e-9])[1..3], ["5·10⁻¹⁰", "1.0·10⁻⁹"]);
    }

    #[test]
    fn log_ticks_are_decades_with_two_and_five_where_few_are_shown() {
        assert_eq!(words(&Axis::log("s"), &[0.1, 1e4]), ["0.1", "1", "10", "100", "1000", "10000"]);
        assert_eq!(words(&Axis::log("s"), &[1.0, 30.0]), ["1", "2", "5", "10", "20"]);
        assert_eq!(words(&Axis::log("s"), &[2.0, 3.0]), ["2.0", "2.2", "2.4", "2.6", "2.8", "3.0"]);
        assert_eq!(words(&Axis::log("s"), &[1e-9, 1e9]).len(), 5);
    }

    /// What a log axis cannot show does not move its ends; an axis of nothing, of one value or of none has ends too.
    #[test]
    fn every_axis_has_ends() {
        for (axis, values) in [
            (Axis::log("s"), vec![0.0, -1.0, f64::NAN]),
            (Axis::linear("g"), vec![]),
            (Axis::linear("g"), vec![7.0, 7.0]),
            (Axis::linear("g"), vec![0.0]),
            (Axis::log("g"), vec![5.0]),
            (Axis::linear("g").between(3.0, 3.0), vec![1.0, 2.0]),
            (Axis::log("g").between(-1.0, 3.0), vec![1.0, 2.0]),
        ] {
            let laid = axis.lay(values.iter().copied(), 10.0, 110.0);
            assert!(laid.low < laid.high, "{laid:?}");
            for v in values.iter().filter(|v| axis.shows(**v)) {
                assert!((10.0..=110.0).contains(&laid.place(*v)), "{v}: {laid:?}");
            }
        }
    }

    #[test]
    fn names_stand_at_whole_numbers() {
        let axis = Axis::named("plate", ["a", "b"]);
        let laid = axis.lay(std::iter::empty(), 0.0, 220.0);
        let ticks = axis.ticks(&laid, 6);
        assert!((ticks[0].0 - 60.0).abs() < 1e-9 && (ticks[1].0 - 160.0).abs() < 1e-9, "{ticks:?}");
        assert_eq!(ticks[1].1, "b");
    }
}
