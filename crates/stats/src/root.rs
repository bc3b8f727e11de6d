//! A bracketed root of one variable.

/// The root of `f` between `low` and `high`, where `f` has opposite signs (or is zero), to within `tolerance` in x.
///
/// Bisection with regula falsi by the Illinois rule (Dowell & Jarratt 1971): never leaves the bracket, always ends.
/// Where the signs agree the end with the smaller |f| is returned.
pub(crate) fn find(f: impl Fn(f64) -> f64, low: f64, high: f64, tolerance: f64) -> f64 {
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa == 0.0 || (fa * fb > 0.0 && fa.abs() < fb.abs()) {
        return a;
    }
    if fb == 0.0 || fa * fb > 0.0 {
        return b;
    }
    for step in 0..200 {
        if (b - a).abs() <= tolerance {
            break;
        }
        // Every third step bisects, so that the bracket shrinks whatever the curve does.
        let secant = b - fb * (b - a) / (fb - fa);
        let x = if step % 3 == 2 || !secant.is_finite() { 0.5 * (a + b) } else { secant };
        let fx = f(x);
        if fx == 0.0 {
            return x;
        }
        if fx * fb < 0.0 {
            (a, fa) = (b, fb);
        } else {
            fa *= 0.5;
        }
        (b, fb) = (x, fx);
    }
    0.5 * (a + b)
}

#[cfg(test)]
mod tests {
    use super::find;

    #[test]
    fn finds_a_simple_and_a_flat_root() {
        assert!((find(|x| x * x - 2.0, 0.0, 2.0, 1e-14) - 2f64.sqrt()).abs() < 1e-13);
        // A seventh power is flat at its root: bisection carries it.
        assert!((find(|x| (x - 0.3).powi(7), -1.0, 2.0, 1e-9) - 0.3).abs() < 1e-8);
    }
}
