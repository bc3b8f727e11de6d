use formats::recording::{Header, Sample};

use super::*;

/// Deck of the reference tests: one cell type, eight cells, 10 Hz.
fn deck() -> Deck {
    formats::deck::read("deck.toml", include_str!("../../tests/data/deck.toml")).unwrap()
}

fn header(deck: &Deck, tilts: &[&str]) -> Header {
    Header {
        cells: deck.cells().map(|(_, c)| c.name.clone()).collect(),
        tilts: tilts.iter().map(|t| (*t).to_owned()).collect(),
        has_temperature: false,
    }
}

/// Pseudo-noise by a linear congruence, about normal by a sum of twelve: standard deviation 1, mean 0.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        let uniform = |state: &mut u64| {
            *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (*state >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..12).map(|_| uniform(&mut self.0)).sum::<f64>() - 6.0
    }
}

/// Rows at 10 Hz with each cell's counts by a function of row and cell.
fn stretch(deck: &Deck, rows: usize, mut counts: impl FnMut(usize, usize) -> f64) -> Stretch {
    let header = header(deck, &[]);
    let mut finder = StretchFinder::new(&header, NoiseOptions::default());
    for row in 0..rows {
        let sample = Sample {
            t_s: row as f64 / 10.0,
            counts: (0..header.cells.len()).map(|cell| Some(counts(row, cell))).collect(),
            ..Sample::default()
        };
        finder.push(&sample);
    }
    finder.finish()
}

fn close(a: f64, b: f64, relative: f64) {
    assert!((a - b).abs() <= relative * b.abs(), "{a} is not {b} within {relative}");
}

/// White noise of s counts on each of n cells: density s g √(2/f_s) a cell, √n times that in the sum; the deviation at one
/// row is s g, falls with √m, and the best averaging time is the longest.
#[test]
fn white_noise_has_its_density_and_averages_out() {
    let deck = deck();
    let mut noise = Noise(1);
    let rows = 20_000;
    let report = noise_of(&deck, &stretch(&deck, rows, |_, _| (1000.0 + 40.0 * noise.next()).round()));
    let g = chain::channels(&deck).unwrap()[0].step_g();
    let n = as_f64(report.cells.len());
    close(report.rate_hz, 10.0, 1e-9);
    for cell in &report.cells {
        // 160 segments and a median over 1000 bins: 1 to 2 %.
        close(cell.noise.density_g, 40.0 * g * (2.0_f64 / 10.0).sqrt(), 0.04);
        close(cell.noise.sd_g, 40.0 * g, 0.03);
        close(cell.quantization.step_counts, 1.0, 1e-12);
        close(cell.quantization.step_g, g, 1e-12);
        assert!(!cell.quantization.hides_noise && cell.noise.lines.is_empty());
    }
    close(report.sum.density_g, n.sqrt() * report.cells[0].noise.density_g, 0.06);
    let first = report.sum.allan[0];
    close(first.allan_g, n.sqrt() * 40.0 * g, 0.03);
    close(first.resolvable_g, 3.289_707_254 * 2f64.sqrt() * first.allan_g, 1e-9);
    for point in &report.sum.allan {
        let expected = n.sqrt() * 40.0 * g * (0.1 / point.tau_s).sqrt();
        // Half again as wide as the 95 % interval: one in a thousand would leave it.
        let [low, high] = point.ci_g.map(|g| g / point.allan_g);
        assert!(
            (point.allan_g / expected).ln() < 1.5 * high.ln() && (point.allan_g / expected).ln() > 1.5 * low.ln(),
            "{point:?}"
        );
    }
    assert!(report.sum.drift.g_per_h.abs() < 4.0 * report.sum.drift.u_g_per_h, "{:?}", report.sum.drift);
    assert!(report.notes.iter().all(|n| n.contains("still falls")), "{:?}", report.notes);
}

fn noise_of(deck: &Deck, stretch: &Stretch) -> NoiseReport {
    super::noise(deck, None, stretch).unwrap()
}

/// A drift of d counts an hour a cell is found, turns the deviation up, and sets the best averaging time.
#[test]
fn drift_is_found_and_ends_the_gain_of_averaging() {
    let deck = deck();
    let mut noise = Noise(2);
    let per_h = 36_000.0;
    let found = noise_of(&deck, &stretch(&deck, 20_000, |row, _| 40.0 * noise.next() + per_h * as_f64(row) / 36_000.0));
    let g = chain::channels(&deck).unwrap()[0].step_g();
    let expected = as_f64(found.cells.len()) * per_h * g;
    let drift = found.sum.drift;
    assert!((drift.g_per_h - expected).abs() < 4.0 * drift.u_g_per_h, "{drift:?} {expected}");
    close(drift.g_per_h, expected, 0.01);
    assert!(!found.still_falling);
    // The deviation is √(σ²/m + d²τ²/2), least where σ²τ₀/τ² = d²τ: τ³ = σ²τ₀/d², with n cells alike n times less; octaves of 0.1 s.
    let rate = per_h / 3600.0;
    let best = (1600.0 * 0.1 / (rate * rate) / as_f64(found.cells.len())).cbrt();
    assert!(
        found.best_averaging_s > best / 2.0 && found.best_averaging_s < best * 2.0,
        "{} {best}",
        found.best_averaging_s
    );
}

/// 50 Hz at 80 rows a second is recorded at 30 Hz: here a line at 3.0 Hz of 10 stands for one at 53 or 47; mains fall on 0.
#[test]
fn lines_are_found_and_mains_that_fall_on_nothing_are_said() {
    let deck = deck();
    let mut noise = Noise(3);
    let wave = |row: usize| 30.0 * (std::f64::consts::TAU * 3.0 * as_f64(row) / 10.0).sin();
    let report = noise_of(&deck, &stretch(&deck, 8000, |row, _| 40.0 * noise.next() + wave(row)));
    let g = chain::channels(&deck).unwrap()[0].step_g();
    let line = report.sum.lines.iter().find(|l| (l.frequency_hz - 3.0).abs() < 0.02).expect("a line at 3 Hz");
    close(line.amplitude_g, 30.0 * g * as_f64(report.cells.len()), 0.05);
    assert!(report.hum.iter().flat_map(|h| &h.lines).all(|l| !l.visible && l.alias_hz < 1e-9));
}

#[test]
fn the_longest_stretch_without_a_gap_is_judged() {
    let deck = deck();
    let header = header(&deck, &["flat"]);
    let mut finder = StretchFinder::new(&header, NoiseOptions { to_s: 100.0, ..NoiseOptions::default() });
    let mut t_s = 0.0;
    for row in 0..2000_usize {
        // A jump of time after 300 rows, a lost sample at 400, a moved section from 700 on; nothing after 100 s.
        t_s += if row == 300 { 1.0 } else { 0.1 };
        let mut counts: Vec<Option<f64>> = vec![Some(as_f64(row % 7)); header.cells.len()];
        if row == 400 {
            counts[2] = None;
        }
        let tilt_deg = vec![if row < 700 { 0.0 } else { 30.0 }];
        if !finder.push(&Sample { t_s, temperature_c: None, tilt_deg, counts }) {
            break;
        }
    }
    let found = finder.finish();
    assert_eq!((found.stretches, found.rows()), (4, 300), "300, 100, 299 rows and the 291 up to 100 s");
    assert!((found.from_s - 0.1).abs() < 1e-9 && (found.to_s - 30.0).abs() < 1e-9);
}

#[test]
fn what_cannot_be_judged_is_said() {
    let deck = deck();
    let short = stretch(&deck, 127, |row, _| as_f64(row % 3));
    assert_eq!(super::noise(&deck, None, &short), Err(NoiseError::TooShort { found: 127 }));
    let still = stretch(&deck, 500, |_, cell| as_f64(cell));
    assert_eq!(super::noise(&deck, None, &still), Err(NoiseError::Constant { rows: 500 }));
    let mut rng = Noise(4);
    let one_dead = stretch(&deck, 500, |_, cell| if cell == 0 { 7.0 } else { rng.next() });
    let report = noise_of(&deck, &one_dead);
    assert!(report.notes.iter().any(|n| n.contains("does not move at all")), "{:?}", report.notes);
    assert!(serde_json::to_string(&report).unwrap().contains("\"resolvable_g\""));
    let mut rng = Noise(5);
    let stepped = stretch(&deck, 3000, |row, _| 10.0 * rng.next() + if row > 1500 { 5000.0 } else { 0.0 });
    let report = noise_of(&deck, &stepped);
    assert!(report.notes.iter().any(|n| n.contains("the load moved")), "{:?}", report.notes);
    let jump = report.sum.largest_jump().unwrap();
    // Row 1501 at 10 Hz, found to blocks of 32 rows.
    assert!((jump.after_s - 150.1).abs() <= 3.2, "{jump:?}");
    let g = chain::channels(&deck).unwrap()[0].step_g();
    close(jump.by_g, 5000.0 * g * as_f64(report.cells.len()), 0.02);
}
