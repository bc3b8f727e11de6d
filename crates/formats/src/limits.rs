//! Which numbers a key or column takes, and how a number is read from text.

use std::fmt;

/// No quantity of a deck is larger than this in its unit, nor one above 0 smaller than [`LEAST`]: products and quotients of a few such
/// numbers stay numbers.
const MOST: f64 = 1e15;
const LEAST: f64 = 1e-15;

/// An interval of finite numbers, with the reason for it where that helps the user.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Limits {
    low: f64,
    /// Whether `low` itself is refused.
    above: bool,
    high: f64,
    because: Option<&'static str>,
}

impl Limits {
    /// Any finite number.
    pub(crate) const ANY: Self = Self::between(f64::NEG_INFINITY, f64::INFINITY);
    /// Above 0.
    pub(crate) const POSITIVE: Self = Self::above(0.0);
    /// 0 or above.
    pub(crate) const NOT_NEGATIVE: Self = Self::between(0.0, f64::INFINITY);

    /// From low to high, both included.
    pub(crate) const fn between(low: f64, high: f64) -> Self {
        Self { low, above: false, high, because: None }
    }

    /// Above low, which itself is refused.
    pub(crate) const fn above(low: f64) -> Self {
        Self { low, above: true, ..Self::ANY }
    }

    /// With an upper end.
    pub(crate) const fn at_most(self, high: f64) -> Self {
        Self { high, ..self }
    }

    /// Adds the reason, shown in brackets behind the interval.
    pub(crate) const fn because(self, reason: &'static str) -> Self {
        Self { because: Some(reason), ..self }
    }

    /// Low and high end.
    pub(crate) const fn ends(&self) -> [f64; 2] {
        [self.low, self.high]
    }

    /// Whether the number may stand.
    pub(crate) fn allow(&self, value: f64) -> bool {
        let is_low = if self.above { value - self.low < LEAST } else { value < self.low };
        value.abs() <= MOST && value <= self.high && !is_low
    }
}

impl fmt::Display for Limits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { low, high, .. } = self;
        match (low.is_finite(), self.above, high.is_finite()) {
            (false, _, false) => write!(f, "a number"),
            (false, _, true) => write!(f, "a number of at most {high}"),
            (true, true, false) => write!(f, "a number above {low}"),
            (true, false, false) => write!(f, "a number of at least {low}"),
            (true, true, true) => write!(f, "a number above {low} and at most {high}"),
            (true, false, true) => write!(f, "a number from {low} to {high}"),
        }?;
        self.because.map_or(Ok(()), |reason| write!(f, " ({reason})"))
    }
}

/// What a text holds instead of the number that should stand there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Misfit {
    pub(crate) found: String,
    pub(crate) expected: String,
}

/// Reads a number with a decimal point; blanks around it do not matter.
pub(crate) fn parse(text: &str, limits: &Limits) -> Result<f64, Misfit> {
    let text = text.trim();
    match text.parse::<f64>() {
        Ok(value) if limits.allow(value) => Ok(value),
        Ok(value) if value.is_finite() && (value.abs() > MOST || (value != 0.0 && value.abs() < LEAST)) => {
            Err(Misfit { found: shortened(text), expected: format!("{limits} of a size from {LEAST:e} to {MOST:e}") })
        }
        Ok(value) if value.is_finite() => Err(Misfit { found: shortened(text), expected: limits.to_string() }),
        Ok(_) => Err(Misfit { found: format!("`{text}`"), expected: format!("{limits} that is finite") }),
        Err(_) => Err(Misfit { found: quoted(text), expected: expectation(text, limits) }),
    }
}

/// What to write instead of a text that is no number.
fn expectation(text: &str, limits: &Limits) -> String {
    if let Some(point) = with_point(text) {
        return format!("{limits}, written with a decimal point: `{point}`");
    }
    let number_end = text.trim_end_matches(|c: char| c.is_alphabetic() || matches!(c, '%' | '°' | 'µ' | ' ' | '/'));
    if number_end.len() < text.len() && number_end.parse::<f64>().is_ok() {
        return format!("{limits} without its unit (the name of the column or key carries it): `{number_end}`");
    }
    limits.to_string()
}

/// `1,5` as `1.5`, where the text is a number but for its decimal comma.
pub(crate) fn with_point(text: &str) -> Option<String> {
    let (whole, fraction) = text.split_once(',')?;
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let unsigned = whole.strip_prefix(['-', '+']).unwrap_or(whole);
    (digits(unsigned) && digits(fraction)).then(|| format!("{whole}.{fraction}"))
}

/// The text between marks, cut where it is long, or the word `nothing`.
pub(crate) fn quoted(text: &str) -> String {
    if text.is_empty() { "nothing".to_owned() } else { format!("`{}`", shortened(text)) }
}

/// The text on one line, cut where it is long: a number of 300 digits says no more than its first sixty.
fn shortened(text: &str) -> String {
    const LONGEST: usize = 60;
    let clean: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(LONGEST).collect();
    let dots = if text.chars().count() > LONGEST { "…" } else { "" };
    clean + dots
}

#[cfg(test)]
mod unit {
    use super::*;

    fn misfit(text: &str, limits: &Limits) -> String {
        let Misfit { found, expected } = parse(text, limits).unwrap_err();
        format!("found {found}, expected {expected}")
    }

    #[test]
    fn numbers_are_read_and_told_apart_from_what_is_none() {
        assert_eq!(parse(" 1.5 ", &Limits::ANY), Ok(1.5));
        assert_eq!(parse("-2e3", &Limits::ANY), Ok(-2000.0));
        assert_eq!(
            misfit("1,5", &Limits::POSITIVE),
            "found `1,5`, expected a number above 0, written with a decimal point: `1.5`"
        );
        assert_eq!(
            misfit("1e300", &Limits::POSITIVE),
            "found 1e300, expected a number above 0 of a size from 1e-15 to 1e15"
        );
        let long = misfit(&format!("1{}", "0".repeat(300)), &Limits::ANY);
        assert!(long.starts_with("found 1000") && long.contains("0…, expected a number") && long.len() < 130, "{long}");
        assert!(misfit("4e-301", &Limits::POSITIVE).ends_with("of a size from 1e-15 to 1e15"));
        assert_eq!(parse("4e-301", &Limits::NOT_NEGATIVE), Ok(4e-301));
        assert_eq!(misfit("NaN", &Limits::ANY), "found `NaN`, expected a number that is finite");
        assert_eq!(misfit("1e999", &Limits::ANY), "found `1e999`, expected a number that is finite");
        assert_eq!(misfit("-1", &Limits::NOT_NEGATIVE), "found -1, expected a number of at least 0");
        assert_eq!(misfit("", &Limits::ANY), "found nothing, expected a number");
        assert_eq!(
            misfit("12 kg", &Limits::ANY),
            "found `12 kg`, expected a number without its unit (the name of the column or key carries it): `12`"
        );
        assert_eq!(misfit("91", &Limits::between(-90.0, 90.0)), "found 91, expected a number from -90 to 90");
    }
}
