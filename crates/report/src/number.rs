//! How a figure is printed: with as many digits as it deserves, and its unit said by the caller.

/// `value` with `digits` significant digits, without an exponent where it can be avoided.
#[must_use]
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    if value == 0.0 {
        return "0".into();
    }
    let digits = digits.max(1);
    // Through the exponent form, which rounds before the place of the first digit is fixed: 9.96 with two digits is 10.
    let exponent_form = format!("{value:.*e}", digits - 1);
    let magnitude: i32 = exponent_form.split('e').nth(1).and_then(|e| e.parse().ok()).unwrap_or(0);
    if (-5..15).contains(&magnitude) {
        let decimals = i32::try_from(digits).unwrap_or(i32::MAX).saturating_sub(1).saturating_sub(magnitude);
        let rounded: f64 = exponent_form.parse().unwrap_or(value);
        format!("{rounded:.*}", usize::try_from(decimals).unwrap_or(0))
    } else {
        exponent_form
    }
}

/// `value` with `decimals` places; a rounded zero carries no sign.
#[must_use]
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    let text = format!("{value:.decimals$}");
    if text.starts_with('-') && text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.')) {
        text[1..].to_owned()
    } else {
        text
    }
}

/// A load that is safe, kg: rounded down, never up past what was found safe.
#[must_use]
pub fn safe_kg(kg: f64) -> String {
    fixed(kg.floor(), 0)
}

/// A share as whole per cent; 100 only where it is all of them.
#[must_use]
pub fn share_pct(share: f64) -> String {
    let pct = 100.0 * share;
    fixed(if pct < 100.0 { pct.min(99.0) } else { pct }, 0)
}

/// `value` to the place of the second digit of its uncertainty `u` (JCGM 100:2008, 7.2.6).
#[must_use]
pub fn with_uncertainty(value: f64, u: f64) -> String {
    if u <= 0.0 {
        // Known exactly, as the first row of a running total is.
        return significant(value, 6);
    }
    let decimals = decimals_for(u);
    format!("{} ± {}", fixed(value, decimals), fixed(u, decimals))
}

/// Decimals that show `u` with two significant digits; between 0 and 9.
#[must_use]
pub fn decimals_for(u: f64) -> usize {
    if !u.is_finite() || u <= 0.0 {
        return 3;
    }
    let text = significant(u, 2);
    text.split_once('.').map_or(0, |(_, decimals)| decimals.len()).min(9)
}

/// Decimals, at most `most`, that show every value of a column as it is: all in one form stand under each other.
#[must_use]
pub fn decimals_of(values: impl IntoIterator<Item = f64>, most: usize) -> usize {
    let least = |value: f64| (0..most).find(|d| fixed(value, *d).parse() == fixed(value, most).parse::<f64>());
    values.into_iter().filter(|v| v.is_finite()).map(|v| least(v).unwrap_or(most)).max().unwrap_or(0)
}

/// A value that may be missing.
#[must_use]
pub fn optional(value: Option<f64>, print: impl Fn(f64) -> String) -> String {
    value.map_or_else(|| "–".into(), print)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_uncertainty() {
        assert_eq!(with_uncertainty(71.223_34, 0.0256), "71.223 ± 0.026");
        assert_eq!(with_uncertainty(1234.6, 99.7), "1235 ± 100");
        assert_eq!(with_uncertainty(-0.0001, 0.05), "0.000 ± 0.050");
    }

    #[test]
    fn a_safe_load_is_never_rounded_up() {
        assert_eq!([481.86, 143.63, 200.0].map(safe_kg), ["481", "143", "200"]);
        assert_eq!(safe_kg(f64::INFINITY), "–");
    }

    #[test]
    fn a_hundred_per_cent_are_all() {
        assert_eq!([399.0 / 400.0, 1.0, 0.5, 0.29, 0.0].map(share_pct), ["99", "100", "50", "29", "0"]);
        assert_eq!(share_pct(f64::NAN), "–");
    }

    #[test]
    fn rounding_up_a_power_of_ten_keeps_the_digits_asked_for() {
        assert_eq!(significant(9.96, 2), "10");
        assert_eq!(significant(0.099_96, 3), "0.100");
        assert_eq!(significant(1234.0, 2), "1200");
        assert_eq!(significant(2.5e-9, 2), "2.5e-9");
    }

    #[test]
    fn a_column_has_the_decimals_that_its_finest_value_needs() {
        assert_eq!(decimals_of([100.0, 20.0, 0.0], 4), 0);
        assert_eq!(decimals_of([100.1, 20.0], 4), 1);
        assert_eq!(decimals_of([0.0003, 49.9952], 4), 4);
        assert_eq!(decimals_of([1.0 / 3.0], 4), 4);
        assert_eq!(decimals_of([0.1 + 0.2], 4), 1, "what is below the last place is no digit");
        assert_eq!(decimals_of([f64::NAN], 4), 0);
    }

    #[test]
    fn what_is_not_a_number_prints_as_a_dash() {
        assert_eq!(significant(f64::NAN, 3), "–");
        assert_eq!(fixed(f64::INFINITY, 3), "–");
    }
}
