//! Numbers of the command line that a stage would refuse: told by their option, before a file is opened.

/// A number above 0.
pub(super) fn positive(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(number) if number > 0.0 && number.is_finite() => Ok(number),
        _ => Err("expected a number above 0".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_number_above_0_is_refused() {
        assert_eq!(positive("0.5"), Ok(0.5));
        for text in ["0", "-1", "NaN", "inf", "", "1,5"] {
            assert!(positive(text).is_err(), "{text:?}");
        }
    }
}
