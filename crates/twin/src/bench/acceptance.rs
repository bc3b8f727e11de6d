//! Tests of a calibrated deck against known loads, as a person would take them, and the deck's weights beside a standard's.
//!
//! The indication is Σ k (r − z) over the cells, scaled from the calibration's gravity to the deck's, divided by the cosine
//! where a test tilts the deck, and rounded to the verification interval e. Small masses of e/10 are added until the
//! indication changes over, and their sum is written as `added_g`. Indications and rounding are those of a plain display:
//! nothing here filters, tracks zero or judges.

use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::pairs::Pair;
use formats::tests::{Test, TestKind};

use super::Workbench;
use super::run::places;
use crate::built::{BuiltDeck, Footprint, Patch};
use crate::chance::Chance;

/// The deck as a display shows it.
struct Display<'a> {
    deck: &'a Deck,
    calibration: &'a Calibration,
    bench: Workbench<'a>,
    /// Gravity of the calibration over gravity here.
    scale: f64,
    /// What the display shows without load after it was zeroed, kg.
    zero_kg: f64,
    /// Cosine by which a tilted reading is divided.
    cos: f64,
}

/// Length of a reading, s.
const READING_S: f64 = 5.0;

impl<'a> Display<'a> {
    fn new(deck: &'a Deck, built: &'a BuiltDeck, calibration: &'a Calibration, chance: Chance) -> Self {
        let mut display = Self {
            deck,
            calibration,
            bench: Workbench::new(built, built.gravity_m_s2, chance),
            scale: calibration.gravity_m_s2 / built.gravity_m_s2,
            zero_kg: 0.0,
            cos: 1.0,
        };
        display.bench.temperature_c = f64::midpoint(deck.ambient_c[0], deck.ambient_c[1]);
        display.zero();
        display
    }

    fn zero(&mut self) {
        self.bench.load(&[], 60.0);
        self.zero_kg = 0.0;
        self.zero_kg = self.unrounded_kg();
    }

    fn unrounded_kg(&mut self) -> f64 {
        let counts = self.bench.read(READING_S);
        let cells = self.calibration.cells.iter().zip(counts);
        let sum: f64 = cells
            .map(|(c, counts)| match (c.zero_counts, c.kg_per_count) {
                (Some(zero), Some(kg)) => (counts - zero) * kg,
                _ => 0.0,
            })
            .sum();
        sum * self.scale / self.cos - self.zero_kg
    }

    /// Indication and the small load at which it changes over.
    fn indication(&mut self) -> (f64, f64) {
        let e_kg = self.deck.e_g / 1000.0;
        let kg = self.unrounded_kg();
        let shown = (kg / e_kg).round();
        // Ten steps of e/10 always pass the next edge.
        let n_added = (1..=10).find(|n| ((kg + f64::from(*n) * e_kg / 10.0) / e_kg).round() > shown).unwrap_or(10);
        (round_to(shown * e_kg, 1e4), f64::from(n_added) * self.deck.e_g / 10.0)
    }
}

fn round_to(x: f64, per_unit: f64) -> f64 {
    (x * per_unit).round() / per_unit
}

/// Notes down tests.
struct Book<'a> {
    display: Display<'a>,
    tests: Vec<Test>,
}

/// What is written beside a reading.
#[derive(Default, Clone, Copy)]
struct Beside<'a> {
    plate: Option<(&'a str, [f64; 2])>,
    minutes: Option<f64>,
    temperature_c: Option<f64>,
    tilt_deg: Option<f64>,
}

impl Book<'_> {
    fn note(&mut self, kind: TestKind, step: &str, load_kg: f64, beside: Beside<'_>) {
        let (indication_kg, added_g) = self.display.indication();
        self.tests.push(Test {
            line: self.tests.len() + 2,
            kind,
            step: step.to_owned(),
            plate: beside.plate.map(|p| p.0.to_owned()),
            at_mm: beside.plate.map(|p| p.1),
            load_kg,
            indication_kg,
            added_g: Some(round_to(added_g, 1e3)),
            minutes: beside.minutes,
            temperature_c: beside.temperature_c.or(Some(round_to(self.display.bench.temperature_c, 10.0))),
            tilt_deg: beside.tilt_deg,
        });
    }
}

/// All tests of a deck that is calibrated.
#[must_use]
pub fn tests_run(deck: &Deck, built: &BuiltDeck, calibration: &Calibration, seed: u64) -> Vec<Test> {
    let display = Display::new(deck, built, calibration, Chance::stream(seed, "acceptance"));
    let mut book = Book { display, tests: Vec::new() };
    let even = built.footprint(&even_patches(deck));
    weighing(&mut book, deck, &even);
    eccentricity(&mut book, deck, built);
    repeatability(&mut book, deck, &even);
    discrimination(&mut book, deck, &even);
    zero_and_tare(&mut book, deck, &even);
    creep(&mut book, deck, &even);
    tilt(&mut book, deck, built);
    temperature(&mut book, deck, &even);
    book.tests
}

/// The whole deck, evenly.
fn even_patches(deck: &Deck) -> Vec<Patch> {
    let area: f64 = deck.plates.iter().map(|p| p.size_mm[0] * p.size_mm[1]).sum();
    deck.plates
        .iter()
        .map(|p| Patch {
            x_mm: [p.origin_mm[0], p.origin_mm[0] + p.size_mm[0]],
            y_mm: [p.origin_mm[1], p.origin_mm[1] + p.size_mm[1]],
            weight: p.size_mm[0] * p.size_mm[1] / area,
        })
        .collect()
}

/// A load to the nearest kilogram.
fn share_of_max(deck: &Deck, share: f64) -> f64 {
    (deck.max_kg * share).round()
}

fn weighing(book: &mut Book<'_>, deck: &Deck, even: &Footprint) {
    let least = 20.0 * deck.e_g / 1000.0;
    let up = [
        0.0,
        least,
        share_of_max(deck, 0.125),
        share_of_max(deck, 0.25),
        share_of_max(deck, 0.5),
        share_of_max(deck, 0.75),
        deck.max_kg,
    ];
    let down = up.iter().rev().skip(1);
    for (i, kg) in up.iter().chain(down).enumerate() {
        book.display.bench.load(&[(*kg, even)], 30.0);
        let way = if i < up.len() { "up" } else { "down" };
        book.note(TestKind::Weighing, way, *kg, Beside::default());
    }
}

/// One load over each support: Max over their number less one, where there are more than four.
fn eccentricity(book: &mut Book<'_>, deck: &Deck, built: &BuiltDeck) {
    let n = deck.cells().count().max(2);
    let kg = round_to(deck.max_kg / (n - 1).clamp(3, 1000) as f64, 1.0).max(1.0);
    book.display.bench.load(&[], 120.0);
    book.note(TestKind::Eccentricity, "zero", 0.0, Beside::default());
    for (index, plate) in deck.plates.iter().enumerate() {
        // The first mark is the middle; one near each cell follows.
        for at_mm in places(plate).into_iter().skip(1).take(plate.cells.len()) {
            let footprint = built.footprint_on(index, at_mm);
            book.display.bench.load(&[(kg, &footprint)], 20.0);
            let beside = Beside { plate: Some((&plate.name, at_mm)), ..Beside::default() };
            book.note(TestKind::Eccentricity, "support", kg, beside);
        }
    }
}

fn repeatability(book: &mut Book<'_>, deck: &Deck, even: &Footprint) {
    for share in [0.5, 0.8] {
        let kg = share_of_max(deck, share);
        for i in 1..=5 {
            book.display.bench.load(&[], 60.0);
            book.note(TestKind::Repeatability, &format!("zero {i}"), 0.0, Beside::default());
            book.display.bench.load(&[(kg, even)], 30.0);
            book.note(TestKind::Repeatability, &i.to_string(), kg, Beside::default());
        }
    }
}

fn discrimination(book: &mut Book<'_>, deck: &Deck, even: &Footprint) {
    for kg in [20.0 * deck.e_g / 1000.0, share_of_max(deck, 0.5), deck.max_kg] {
        book.display.bench.load(&[(kg, even)], 30.0);
        book.note(TestKind::Discrimination, "gently added", kg, Beside::default());
    }
}

fn zero_and_tare(book: &mut Book<'_>, deck: &Deck, even: &Footprint) {
    book.display.bench.load(&[], 600.0);
    book.display.zero();
    book.note(TestKind::Zero, "after zeroing", 0.0, Beside::default());
    let tare_kg = share_of_max(deck, 0.075);
    book.display.bench.load(&[(tare_kg, even)], 60.0);
    let zero_kg = book.display.zero_kg;
    book.display.zero_kg += book.display.unrounded_kg();
    book.note(TestKind::Tare, "tare set", 0.0, Beside::default());
    for share in [0.05, 0.25, 0.5, 0.7, 0.9] {
        let kg = share_of_max(deck, share);
        book.display.bench.load(&[(tare_kg + kg, even)], 30.0);
        book.note(TestKind::Tare, &format!("net, tare {tare_kg} kg"), kg, Beside::default());
    }
    book.display.zero_kg = zero_kg;
}

fn creep(book: &mut Book<'_>, deck: &Deck, even: &Footprint) {
    book.display.bench.load(&[], 3600.0);
    book.note(TestKind::ZeroReturn, "before", 0.0, Beside::default());
    book.display.bench.load(&[(deck.max_kg, even)], 5.0);
    let mut at_min = 0.0;
    for minutes in [0.0, 5.0, 10.0, 15.0, 20.0, 30.0] {
        book.display.bench.wait(60.0 * (minutes - at_min));
        at_min = minutes;
        book.note(
            TestKind::Creep,
            "load left lying",
            deck.max_kg,
            Beside { minutes: Some(minutes), ..Beside::default() },
        );
    }
    book.display.bench.load(&[], 10.0);
    book.note(TestKind::ZeroReturn, "after 30 min", 0.0, Beside { minutes: Some(30.0), ..Beside::default() });
}

/// Every section that moves, flat and at both ends of its range, under loads that lie still on it.
fn tilt(book: &mut Book<'_>, deck: &Deck, built: &BuiltDeck) {
    for (section, moving) in deck.sections.iter().enumerate() {
        let [low, high] = moving.angle_deg;
        let Some(index) = built.plates.iter().position(|p| p.section == section).filter(|_| high > low) else {
            continue;
        };
        let mut angles = vec![0.0, low, high];
        angles.dedup_by(|a, b| (*a - *b).abs() < 0.1);
        let plate = &deck.plates[index];
        let at_mm = places(plate)[0];
        let footprint = built.footprint_on(index, at_mm);
        let kg = share_of_max(deck, 0.2);
        for degrees in angles {
            book.display.bench.tilt(section, degrees);
            book.display.cos = degrees.to_radians().cos();
            for load_kg in [0.0, kg] {
                book.display.bench.load(&[(load_kg, &footprint)], 60.0);
                let beside = Beside { plate: Some((&plate.name, at_mm)), tilt_deg: Some(degrees), ..Beside::default() };
                book.note(TestKind::Tilt, &plate.name, load_kg, beside);
            }
        }
        book.display.bench.tilt(section, 0.0);
        book.display.cos = 1.0;
    }
}

fn temperature(book: &mut Book<'_>, deck: &Deck, even: &Footprint) {
    let usual_c = book.display.bench.temperature_c;
    let kg = share_of_max(deck, 0.5);
    for temperature_c in [deck.ambient_c[0], usual_c, deck.ambient_c[1]] {
        book.display.bench.temperature_c = temperature_c;
        for load_kg in [0.0, kg] {
            book.display.bench.load(&[(load_kg, even)], 120.0);
            let beside = Beside { temperature_c: Some(temperature_c), ..Beside::default() };
            book.note(TestKind::Temperature, &format!("at {temperature_c:.0} °C"), load_kg, beside);
        }
    }
    book.display.bench.temperature_c = usual_c;
}

/// The deck beside a standing scale of class III: `n` invented persons, each weighed twice on the deck.
///
/// The scale's error is drawn evenly within ± e/2 and rounded to 50 g; persons lie on the deck as in a bed.
#[must_use]
pub fn pairs(deck: &Deck, built: &BuiltDeck, calibration: &Calibration, n: usize, seed: u64) -> Vec<Pair> {
    let mut chance = Chance::stream(seed, "pairs");
    let mut display = Display::new(deck, built, calibration, Chance::stream(seed, "pairs cells"));
    let mut pairs = Vec::with_capacity(2 * n);
    for subject in 1..=n {
        let kg = chance.between(0.22 * deck.max_kg, 0.7 * deck.max_kg);
        for repeat in 1..=2 {
            let reference = round_to(kg + chance.within(0.05), 20.0);
            let across = 0.5 * built.width_mm + 40.0 * chance.normal();
            let patch = Patch::about(
                [0.45 * built.length_mm() + 40.0 * chance.normal(), across],
                [0.7 * built.length_mm(), 350.0],
            );
            let footprint = built.footprint(&[patch]);
            display.bench.load(&[], 30.0);
            display.bench.load(&[(kg, &footprint)], 60.0);
            pairs.push(Pair {
                line: pairs.len() + 2,
                subject: format!("S{subject:02}"),
                reference,
                method: round_to(display.unrounded_kg(), 100.0),
                repeat: Some(repeat.to_string()),
                operator: None,
                u_reference: None,
                u_method: None,
            });
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::run::{BenchOptions, bench_run_of};
    use crate::cell::CellSpread;
    use formats::calibration::{CellCalibration, CellStatus, Covariance};

    /// A calibration that knows the true lines.
    fn known(deck: &Deck, built: &BuiltDeck) -> Calibration {
        let options = BenchOptions { spread: CellSpread::ideal(), ..BenchOptions::default() };
        let truth = bench_run_of(deck, built, 1, &options).unwrap().truth;
        let cell = |c: &crate::bench::run::TrueLine| CellCalibration {
            name: c.name.clone(),
            zero_counts: Some(c.zero_counts),
            u_zero_counts: Some(1.0),
            kg_per_count: Some(c.kg_per_count),
            u_kg_per_count: Some(1e-9),
            status: CellStatus::Good,
        };
        Calibration {
            deck: deck.name.clone(),
            made_at: "2031-11-01T09:00:00Z".into(),
            gravity_m_s2: built.calibration_gravity_m_s2,
            cells: truth.cells.iter().map(cell).collect(),
            residual_sd_g: 0.0,
            degrees_of_freedom: 1,
            lack_of_fit_p: None,
            max_residual_g: 0.0,
            loads: Vec::new(),
            covariance: Covariance { parameters: Vec::new(), matrix: Vec::new() },
            findings: Vec::new(),
            residuals: Vec::new(),
            detail: None,
        }
    }

    fn deck() -> Deck {
        formats::deck::read("deck.toml", crate::demo::DECK_TOML).unwrap()
    }

    #[test]
    fn ideal_cells_with_known_lines_show_every_load_to_a_step_of_the_added_masses() {
        let deck = deck();
        let built = BuiltDeck::build(&deck, &CellSpread::ideal(), 1).unwrap();
        let tests = tests_run(&deck, &built, &known(&deck, &built), 1);
        for kind in [TestKind::Weighing, TestKind::Eccentricity, TestKind::Tilt, TestKind::Temperature, TestKind::Creep]
        {
            assert!(tests.iter().any(|t| t.kind == kind));
        }
        for test in &tests {
            let error_g = 1000.0 * (test.indication_kg - test.load_kg) + deck.e_g / 2.0 - test.added_g.unwrap();
            // The changeover point is found to a step of e/10; noise of a gram may add one.
            assert!(error_g.abs() <= deck.e_g / 10.0 + 5.0, "line {}: {error_g} g", test.line);
        }
    }

    #[test]
    fn tests_and_pairs_are_read_back_as_they_were_written() {
        let deck = deck();
        let built = BuiltDeck::build(&deck, &CellSpread::default(), 1).unwrap();
        let calibration = known(&deck, &built);
        let tests = tests_run(&deck, &built, &calibration, 1);
        assert_eq!(formats::tests::read("tests.csv", &formats::tests::write(&tests), &deck).unwrap(), tests);
        let pairs = pairs(&deck, &built, &calibration, 12, 1);
        assert_eq!(formats::pairs::read("pairs.csv", &formats::pairs::write(&pairs)).unwrap(), pairs);
        // A standing scale errs by up to 50 g and shows 50 g steps, the deck by tens of grams: none is off by 0.3 kg.
        assert!(pairs.iter().all(|p| (p.method - p.reference).abs() < 0.3));
        assert!(pairs.iter().any(|p| (p.method - p.reference).abs() > 0.01));
    }
}
