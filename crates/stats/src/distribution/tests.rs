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

/// The two branches of the t functions must join at ν = 300.
#[test]
fn the_branches_of_t_join() {
    for p in [0.6, 0.9, 0.975, 0.999, 1.0 - 1e-6] {
        // The quantile changes by less than 1e-12 relative over this step of ν; the library's incomplete beta function
        // keeps 11 digits of a tail here.
        close(t_quantile(p, 300.000_000_01), t_quantile(p, 300.0), 5e-11);
        let t = t_quantile(p, 300.0);
        close(t_sf(t, 300.000_000_01), t_sf(t, 300.0), 5e-10);
    }
}

/// Source: computed with mpmath 1.3.0 at 40 digits, t = the root of I_x(ν/2, 1/2)/2 = 1 − p.
#[test]
fn t_quantiles_of_many_degrees_of_freedom() {
    for (p, nu, expected) in [
        (0.6, 9.0, 0.260955336473911),
        (0.975, 9.0, 2.262157162798205),
        (0.999, 9.0, 4.296805662729918),
        (0.6, 301.0, 0.2535711477122717),
        (0.975, 301.0, 1.967876531285695),
        (0.999, 301.0, 3.117527832850441),
        (0.6, 1000.0, 0.2534145158394987),
        (0.975, 1000.0, 1.962339080826408),
        (0.999, 1000.0, 3.098402163912923),
        (0.6, 10000.0, 0.2533538434457268),
        (0.975, 10000.0, 1.960201239890626),
        (0.999, 10000.0, 3.091047516030612),
        (0.6, 1000000.0, 0.2533471705378416),
        (0.975, 1000000.0, 1.959966356814107),
        (0.999, 1000000.0, 3.090240456316519),
    ] {
        // The last digits of the normal quantile are lost where 1 − p has lost them already.
        close(t_quantile(p, nu), expected, 2e-12);
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

/// Source: computed with mpmath 1.4.1 at 40 digits from the defining integrals.
#[test]
fn values_against_forty_digits() {
    for (z, expected) in [(-5.0, 2.866515718791939e-7), (-1.0, 0.15865525393145705), (0.5, 0.6914624612740131)] {
        close(normal_cdf(z), expected, 1e-14);
    }
    for (p, expected) in [(0.025, -1.9599639845400542), (0.6, 0.2533471031357997), (1e-12, -7.034483825301132)] {
        close(normal_quantile(p), expected, 1e-14);
    }
    for (p, nu, expected) in
        [(0.025, 3.0, 0.2157952826238979), (0.95, 20.0, 31.41043284423092), (0.999, 7.5, 25.2300549206786)]
    {
        close(chi2_quantile(p, nu), expected, 1e-12);
        close(chi2_cdf(expected, nu), p, 1e-12);
        close(chi2_sf(expected, nu), 1.0 - p, 1e-11);
    }
    for (p, nu1, nu2, expected) in [
        (0.95, 18.0, 20.0, 2.15112442712183),
        (0.05, 2.0, 9.0, 0.05158674184326517),
        (0.99, 1.0, 300.0, 6.720104373950779),
    ] {
        close(f_quantile(p, nu1, nu2), expected, 1e-11);
        close(f_cdf(expected, nu1, nu2), p, 1e-11);
        close(f_sf(expected, nu1, nu2), 1.0 - p, 1e-10);
    }
}

/// Source: as above; the non-central t by quadrature over ln s.
#[test]
fn noncentral_t_against_quadrature() {
    for (t, nu, delta, expected) in [
        (1.0, 2.5, 0.5, 0.6444856035900341),
        (-3.0, 9.0, -3.0, 0.5299524292252706),
        (7.0, 16.0, 8.0, 0.2398522329666488),
        (60.0, 1000.0, 62.0, 0.11440737409964),
        (2.0, 1.0, -1.0, 0.9681511184417046),
    ] {
        close(noncentral_t_cdf(t, nu, delta), expected, 1e-12);
        close(noncentral_t_quantile(expected, nu, delta), t, 1e-11);
    }
}
