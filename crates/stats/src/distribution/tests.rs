use super::*;

fn close(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "found {found:e}, expected {expected:e}");
}

#[test]
fn arguments_out_of_range_give_nan_and_ends_give_the_ends() {
    assert!(normal_quantile(-0.1).is_nan() && normal_quantile(f64::NAN).is_nan());
    assert!(t_quantile(0.5, 0.0).is_nan() && t_quantile(1.5, 3.0).is_nan());
    assert!(t_cdf(f64::NAN, 3.0).is_nan() && t_cdf(0.0, -1.0).is_nan());
    assert!(f_cdf(f64::NAN, 1.0, 2.0).is_nan() && f_quantile(0.5, 0.0, 2.0).is_nan());
    assert!(chi2_cdf(1.0, -1.0).is_nan() && chi2_quantile(2.0, 1.0).is_nan());
    assert!(noncentral_t_cdf(1.0, 0.0, 1.0).is_nan() && noncentral_t_quantile(0.0, 5.0, 1.0).is_nan());
    assert!(normal_quantile(0.0) == f64::NEG_INFINITY && normal_quantile(1.0) == f64::INFINITY);
    close(t_cdf(f64::INFINITY, 3.0), 1.0, 0.0);
}

/// The two branches of the t functions must join at ν = 10⁴.
#[test]
fn the_branches_of_t_join() {
    for p in [0.6, 0.9, 0.975, 0.999, 1.0 - 1e-6] {
        // The quantile changes by about 2.5e-13 relative over this step of ν and the expansion's own error is 5e-12; the
        // incomplete beta function keeps ten digits of a tail at this ν (1.3e-10 of t measured at p = 0.975).
        close(t_quantile(p, 1.000_001e4), t_quantile(p, 1e4), 3e-10);
        let t = t_quantile(p, 1e4);
        close(t_sf(t, 1.000_001e4), t_sf(t, 1e4), 1e-9);
    }
}

#[test]
fn quantile_and_distribution_function_undo_each_other() {
    for nu in [0.5, 1.0, 2.5, 9.0, 37.0, 400.0, 2e4, 1e6, f64::INFINITY] {
        for p in [1e-6, 0.01, 0.3, 0.5, 0.8, 0.975, 0.9999] {
            close(t_cdf(t_quantile(p, nu), nu), p, 2e-9);
        }
    }
    for delta in [-30.0, -1.0, 0.5, 6.0, 62.0] {
        for nu in [1.0, 4.0, 16.0, 999.0] {
            for p in [0.025, 0.5, 0.975] {
                close(noncentral_t_cdf(noncentral_t_quantile(p, nu, delta), nu, delta), p, 1e-9);
            }
        }
    }
}
